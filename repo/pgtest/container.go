package pgtest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"

	"github.com/jackc/pgx/v5"
	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/modules/postgres"
)

const ownerRole = "tankward"

// container is a Postgres in a container, with an owner role that is no
// superuser, as a private cluster has it.
type container struct {
	url  string
	stop func(context.Context) error
}

func startContainer(ctx context.Context, image string) (container, error) {
	if err := hostOverrideNeeded("/.dockerenv", os.Getenv("TESTCONTAINERS_HOST_OVERRIDE")); err != nil {
		return container{}, err
	}
	password := rand.Text()
	ctr, err := postgres.Run(ctx, image, postgres.WithPassword(password), postgres.BasicWaitStrategies(),
		testcontainers.WithCmdArgs("-c", "synchronous_commit=off", "-c", "full_page_writes=off",
			"-c", "max_connections=300", "-c", "autovacuum=off", "-c", "timezone=UTC"))
	stop := func(ctx context.Context) error {
		return testcontainers.TerminateContainer(ctr, testcontainers.StopContext(ctx))
	}
	if err != nil {
		return container{}, errors.Join(err, stop(context.WithoutCancel(ctx)))
	}
	dsn, err := makeOwner(ctx, ctr, password)
	if err != nil {
		return container{}, errors.Join(err, stop(context.WithoutCancel(ctx)))
	}
	return container{url: dsn, stop: stop}, nil
}

// hostOverrideNeeded refuses a run that would hang: inside a container the
// library dials the network's gateway, where no published port is to be found
// when the engine runs beside us.
func hostOverrideNeeded(marker, override string) error {
	_, err := os.Stat(marker)
	if err == nil && override == "" {
		return fmt.Errorf("%s exists, so set TESTCONTAINERS_HOST_OVERRIDE to where published ports are reached "+
			"(127.0.0.1 if the engine runs on this machine)", marker)
	}
	return nil
}

func makeOwner(ctx context.Context, ctr *postgres.PostgresContainer, password string) (string, error) {
	super, err := ctr.ConnectionString(ctx, "sslmode=disable")
	if err != nil {
		return "", err
	}
	conn, err := pgx.Connect(ctx, super)
	if err != nil {
		return "", err
	}
	defer conn.Close(ctx)
	// DDL takes no parameters; the password is base32 text made here.
	_, err = conn.Exec(ctx, `CREATE ROLE `+ownerRole+` LOGIN CREATEDB CREATEROLE PASSWORD '`+password+`'`)
	if err != nil {
		return "", fmt.Errorf("create role %s: %w", ownerRole, err)
	}
	if _, err := conn.Exec(ctx, `CREATE DATABASE `+ownerRole+` OWNER `+ownerRole); err != nil {
		return "", fmt.Errorf("create database %s: %w", ownerRole, err)
	}
	endpoint, err := ctr.PortEndpoint(ctx, "5432/tcp", "")
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("postgres://%s:%s@%s/%s?sslmode=disable", ownerRole, password, endpoint, ownerRole), nil
}
