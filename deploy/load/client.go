package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// answerTime is how long a client waits for an answer.
const answerTime = 20 * time.Second

// A client has one connection to the server and asks one thing at a time. It is
// plain, since it shares the processors with what it measures.
type client struct {
	conn net.Conn
	in   *bufio.Reader
}

func dial(address string) (*client, error) {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	return &client{conn, bufio.NewReader(conn)}, nil
}

func (c *client) close() { _ = c.conn.Close() }

// An asked is one request; want is the status that it must be answered with.
type asked struct {
	method, path, token, header, body string
	want                              int
}

// ask sends a request and gives the answer's body.
func (c *client) ask(a asked) ([]byte, error) {
	var b strings.Builder
	b.WriteString(a.method + " " + a.path + " HTTP/1.1\r\nHost: wetside\r\n" + a.header)
	if a.token != "" {
		b.WriteString("Authorization: Bearer " + a.token + "\r\n")
	}
	if a.body != "" {
		b.WriteString("Content-Type: application/json\r\n")
	}
	b.WriteString("Content-Length: " + strconv.Itoa(len(a.body)) + "\r\n\r\n" + a.body)
	if err := c.conn.SetDeadline(time.Now().Add(answerTime)); err != nil {
		return nil, err
	}
	if _, err := io.WriteString(c.conn, b.String()); err != nil {
		return nil, err
	}
	resp, err := http.ReadResponse(c.in, nil)
	if err != nil {
		return nil, err
	}
	body, err := io.ReadAll(resp.Body)
	if err = errors.Join(err, resp.Body.Close()); err != nil {
		return nil, err
	}
	if resp.StatusCode != a.want {
		return nil, fmt.Errorf("%s %s: %s: %s", a.method, a.path, resp.Status, body)
	}
	return body, nil
}

// signIn trades every lab's code for a token.
func signIn(address string, labs []*atLab) error {
	c, err := dial(address)
	if err != nil {
		return err
	}
	defer c.close()
	for _, l := range labs {
		body, err := c.ask(asked{method: "POST", path: "/v1/tokens", body: `{"code":"` + l.Code + `"}`, want: http.StatusOK})
		if err != nil {
			return fmt.Errorf("sign in: %w", err)
		}
		var got struct {
			Token string `json:"access_token"`
		}
		if err := json.Unmarshal(body, &got); err != nil {
			return fmt.Errorf("sign in: %w", err)
		}
		l.Token = got.Token
	}
	return nil
}
