package api

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/openapi"
)

// GetContract answers the contract itself.
func (a *API) GetContract(c echo.Context, _ gen.GetContractParams) error {
	if unchanged(c, a.contract.tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, "application/yaml", openapi.YAML)
}
