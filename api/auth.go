package api

import (
	"strings"

	"github.com/labstack/echo/v4"

	"tankward/service/access"
	"tankward/service/tx"
)

const callerKey = "tankward.caller"

// callerOf gives who calls; it is empty where no key is needed.
func callerOf(c echo.Context) access.Caller {
	who, _ := c.Get(callerKey).(access.Caller)
	return who
}

func scopeOf(c echo.Context) tx.Scope { return callerOf(c).Scope }

// authenticate finds out who calls, where the contract asks for a key.
func (a *API) authenticate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := operationOf(c)
		if op == nil || len(op.roles) == 0 {
			return next(c)
		}
		who, err := a.access.Authenticate(c.Request().Context(), bearer(c.Request().Header.Get(echo.HeaderAuthorization)))
		if err != nil {
			return err
		}
		who.Scope.Request = requestID(c)
		c.Set(callerKey, who)
		return next(c)
	}
}

// bearer gives the secret of an Authorization header, or nothing.
func bearer(header string) string {
	scheme, secret, _ := strings.Cut(header, " ")
	if !strings.EqualFold(scheme, "bearer") {
		return ""
	}
	return strings.TrimSpace(secret)
}

func requestID(c echo.Context) string { return c.Response().Header().Get(echo.HeaderXRequestID) }
