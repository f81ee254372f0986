package api

import (
	"context"
	"strings"

	"github.com/labstack/echo/v4"

	"tankward/service/fault"
	"tankward/service/tx"
)

// Authenticator finds out who calls.
type Authenticator interface {
	// Authenticate gives the scope of the member that the secret belongs to;
	// Unauthenticated when it is unknown, expired or revoked.
	Authenticate(ctx context.Context, secret string) (tx.Scope, error)
}

const scopeKey = "tankward.scope"

func scopeOf(c echo.Context) tx.Scope {
	s, _ := c.Get(scopeKey).(tx.Scope)
	return s
}

// authenticate puts the caller's scope into the context where the contract
// asks for a key.
func authenticate(a Authenticator) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			op := operationOf(c)
			if op == nil || len(op.roles) == 0 {
				return next(c)
			}
			secret, ok := bearer(c.Request().Header.Get(echo.HeaderAuthorization))
			if !ok {
				return fault.Unknown("Send your access key as the header «Authorization: Bearer tw_…».")
			}
			s, err := a.Authenticate(c.Request().Context(), secret)
			if err != nil {
				return err
			}
			s.Request = requestID(c)
			c.Set(scopeKey, s)
			return next(c)
		}
	}
}

func bearer(header string) (string, bool) {
	scheme, secret, ok := strings.Cut(header, " ")
	secret = strings.TrimSpace(secret)
	return secret, ok && strings.EqualFold(scheme, "bearer") && secret != ""
}

func requestID(c echo.Context) string { return c.Response().Header().Get(echo.HeaderXRequestID) }
