package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"net/url"
	"os"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/moby/moby/api/types/container"
	"github.com/moby/moby/api/types/network"
	"github.com/moby/moby/client"
	"github.com/testcontainers/testcontainers-go"
	tclog "github.com/testcontainers/testcontainers-go/log"
	"github.com/testcontainers/testcontainers-go/modules/postgres"
)

// defaultImage is the official image of the release that Wetside runs on.
const defaultImage = "postgres:17-alpine"

// contained is a PostgreSQL in a container that testcontainers runs.
type contained struct {
	container *postgres.PostgresContainer
	url       string
}

// startContainer starts a container for tests. It fails quickly where no
// Docker engine answers, or the image is neither there nor can be pulled.
func startContainer(ctx context.Context, log io.Writer) (database, error) {
	// We end the container ourselves; the library's own reaper would be one
	// more image to pull, and it is not there where there is no registry.
	if _, set := os.LookupEnv("TESTCONTAINERS_RYUK_DISABLED"); !set {
		if err := os.Setenv("TESTCONTAINERS_RYUK_DISABLED", "true"); err != nil {
			return nil, err
		}
	}
	tclog.SetDefault(tclog.NewNoopLogger())
	image := os.Getenv("WETSIDE_TEST_POSTGRES_IMAGE")
	if image == "" {
		image = defaultImage
	}
	docker, err := testcontainers.NewDockerProvider()
	if err != nil {
		return nil, fmt.Errorf("no Docker engine answers: %w", err)
	}
	defer func() { _ = docker.Close() }()
	if err := ensureImage(ctx, docker, image, log); err != nil {
		return nil, err
	}
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	c := &contained{}
	c.container, err = postgres.Run(ctx, image,
		testcontainers.WithCmdArgs("-c", "synchronous_commit=off", "-c", "full_page_writes=off",
			"-c", "autovacuum=off", "-c", "max_connections=300"),
		// A fast shutdown: connections end, and everything committed is kept.
		testcontainers.WithConfigModifier(func(config *container.Config) { config.StopSignal = "SIGINT" }),
		// A fixed port outlives a stop and a start, a port of Docker's choice does not.
		testcontainers.WithHostConfigModifier(func(host *container.HostConfig) {
			host.PortBindings = network.PortMap{network.MustParsePort("5432/tcp"): {
				{HostIP: publishOn(docker), HostPort: strconv.Itoa(port)},
			}}
		}))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("PostgreSQL in a container: %w", err), c.Close())
	}
	if err := c.locate(ctx, docker, port); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	fmt.Fprintln(log, "PostgreSQL: a container of", image)
	return c, nil
}

// ensureImage pulls the image where the engine does not have it, trying once.
func ensureImage(ctx context.Context, docker *testcontainers.DockerProvider, image string, log io.Writer) error {
	if _, err := docker.Client().ImageInspect(ctx, image); err == nil {
		return nil
	}
	fmt.Fprintln(log, "PostgreSQL: pulling", image)
	ctx, cancel := context.WithTimeout(ctx, 5*time.Minute)
	defer cancel()
	pull, err := docker.Client().ImagePull(ctx, image, client.ImagePullOptions{})
	if err == nil {
		_, err = io.Copy(io.Discard, pull)
		err = errors.Join(err, pull.Close())
	}
	if err == nil {
		_, err = docker.Client().ImageInspect(ctx, image) // the stream may report a failure at its end
	}
	if err != nil {
		return fmt.Errorf("the Docker engine has no image %s and cannot pull it: %w", image, err)
	}
	return nil
}

// publishOn is the address to publish the port on: the loopback of this
// machine, unless the engine runs on another one.
func publishOn(docker *testcontainers.DockerProvider) netip.Addr {
	host, err := url.Parse(docker.Client().DaemonHost())
	if err == nil && (host.Scheme == "unix" || host.Scheme == "npipe") {
		return netip.AddrFrom4([4]byte{127, 0, 0, 1})
	}
	return netip.IPv4Unspecified()
}

// locate finds where the published port answers. The library takes a machine
// that looks like a container itself for one that must use the bridge's
// gateway, which is not always so; hence the second guess.
func (c *contained) locate(ctx context.Context, docker *testcontainers.DockerProvider, port int) error {
	hosts := []string{"127.0.0.1"}
	if host, err := docker.DaemonHost(ctx); err == nil && host != "localhost" {
		hosts = append(hosts, host)
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	for {
		var errs []error
		for _, host := range hosts {
			u := url.URL{Scheme: "postgres", User: url.UserPassword("postgres", "postgres"),
				Host: net.JoinHostPort(host, strconv.Itoa(port)), Path: "/postgres", RawQuery: "sslmode=disable"}
			err := settled(ctx, u.String())
			if err == nil {
				c.url = u.String()
				return nil
			}
			errs = append(errs, err)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("PostgreSQL in a container does not answer: %w", errors.Join(errs...))
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// settled reports whether the server answers over TCP. The image's first
// start, which sets the database up, listens on a socket file only.
func settled(ctx context.Context, url string) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	return errors.Join(conn.Ping(ctx), conn.Close(ctx))
}

func (c *contained) URL() string { return c.url }

func (c *contained) Start(ctx context.Context) error {
	if err := c.container.Start(ctx); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	for {
		err := settled(ctx, c.url)
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (c *contained) Stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	limit := 5 * time.Second
	return c.container.Stop(ctx, &limit)
}

// Close removes the container and its volumes.
func (c *contained) Close() error {
	if c.container == nil {
		return nil
	}
	return testcontainers.TerminateContainer(c.container, testcontainers.StopTimeout(0))
}

// freePort asks the kernel for a port that nobody uses just now.
func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, fmt.Errorf("find a free port: %w", err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port, nil
}
