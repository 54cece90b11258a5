package api

import (
	"bytes"
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

// keepAnswers is how long first answers are kept and replayed.
const keepAnswers = 48 * time.Hour

// An Idempotency-Key (draft-ietf-httpapi-idempotency-key-header-07) is a
// quoted text; plain ones are taken as well.
var keyText = regexp.MustCompile(`^"([\x20-\x21\x23-\x7e]{1,255})"$|^([\x21\x23-\x7e]{1,255})$`)

// A replay keeps the first answer to a request that carried an
// Idempotency-Key. The key's row is written in the transaction of the effect:
// both stay or neither, and a duplicate that comes meanwhile waits for the row
// and then finds the answer. Refusals leave nothing behind, so the same key
// may be tried again. Bodies are kept encrypted, because some hold sign-in codes.
type replay struct {
	principal, route, key string
	fingerprint           []byte
	seal                  cipher.AEAD
}

// newReplay reads the key of a request, or gives nil if there is none. It
// refuses with Malformed.
func newReplay(header http.Header, principal, route, query string, body any, secret []byte) (*replay, error) {
	given := header.Values("Idempotency-Key")
	if len(given) == 0 {
		return nil, nil
	}
	m := keyText.FindStringSubmatch(given[0])
	if len(given) > 1 || m == nil {
		return nil, &lab.Refusal{Kind: lab.Malformed, Code: "malformed", Detail: "Idempotency-Key is not a key",
			Faults: []lab.Fault{{Parameter: "Idempotency-Key", Code: "format", Detail: "want one text of 1 to 255 visible ASCII characters"}}}
	}
	canonical, err := json.Marshal(body) // members of objects come out sorted
	if err != nil {
		return nil, fmt.Errorf("fingerprint: %w", err)
	}
	sum := sha256.Sum256(append(canonical, "\n"+query...))
	block, err := aes.NewCipher(secret)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	seal, err := cipher.NewGCM(block)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	return &replay{principal: principal, route: route, key: m[1] + m[2], fingerprint: sum[:], seal: seal}, nil
}

// begin claims the key, waiting for a transaction that holds it. It gives the
// first answer if there is one; it refuses with Invalid
// ("idempotency-key-reused") if that was to another request.
func (p *replay) begin(ctx context.Context, tx pgx.Tx, now time.Time) (*rendered, error) {
	tag, err := tx.Exec(ctx, `INSERT INTO idempotency_keys
			(principal, route, key, fingerprint, status, headers, body, created_at)
		VALUES ($1, $2, $3, $4, 0, '{}', '', $5)
		ON CONFLICT (principal, route, key) DO NOTHING`, p.principal, p.route, p.key, p.fingerprint, now)
	if err != nil {
		return nil, fmt.Errorf("claim idempotency key: %w", err)
	}
	if tag.RowsAffected() == 1 {
		return nil, nil
	}
	var fingerprint, sealed []byte
	first := rendered{}
	err = tx.QueryRow(ctx, `SELECT fingerprint, status, headers, body FROM idempotency_keys
		WHERE principal = $1 AND route = $2 AND key = $3`, p.principal, p.route, p.key).
		Scan(&fingerprint, &first.status, &first.header, &sealed)
	if err != nil {
		return nil, fmt.Errorf("read first answer: %w", err)
	}
	if !bytes.Equal(fingerprint, p.fingerprint) {
		return nil, lab.Refuse(lab.Invalid, "idempotency-key-reused",
			"this Idempotency-Key came before with another request; take a new one")
	}
	if first.body, err = p.open(sealed); err != nil {
		return nil, lab.Refuse(lab.Conflict, "idempotency-answer-lost",
			"this request was carried out before, but its answer can no longer be read")
	}
	return &first, nil
}

// finish keeps the answer.
func (p *replay) finish(ctx context.Context, tx pgx.Tx, answer rendered) error {
	nonce := make([]byte, p.seal.NonceSize())
	_, _ = rand.Read(nonce) // never fails
	sealed := p.seal.Seal(nonce, nonce, answer.body, p.context())
	_, err := tx.Exec(ctx, `UPDATE idempotency_keys SET status = $4, headers = $5, body = $6
		WHERE principal = $1 AND route = $2 AND key = $3`,
		p.principal, p.route, p.key, answer.status, answer.header, sealed)
	if err != nil {
		return fmt.Errorf("keep first answer: %w", err)
	}
	return nil
}

func (p *replay) open(sealed []byte) ([]byte, error) {
	n := p.seal.NonceSize()
	if len(sealed) < n {
		return nil, errors.New("too short")
	}
	return p.seal.Open(nil, sealed[:n], sealed[n:], p.context())
}

// context ties a sealed body to its row.
func (p *replay) context() []byte { return []byte(p.principal + "\n" + p.route + "\n" + p.key) }

// Sweep forgets first answers older than two days and says how many there were.
func (a *API) Sweep(ctx context.Context) (int64, error) {
	var n int64
	err := a.store.InTx(ctx, database.Writing, "", func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT forget_first_answers($1)`, a.clock().Add(-keepAnswers)).Scan(&n)
	})
	return n, err
}
