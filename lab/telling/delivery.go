package telling

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

const kindDelivery = "deliver-event"

// hookPauses are how long to wait before sending again: Standard Webhooks 1.0,
// "Deliverability and reliability", gives these for an example, a little over
// three days in all.
var hookPauses = []time.Duration{
	5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour,
}

type deliveryJob struct {
	Hook  string `json:"hook"`
	Event string `json:"event"`
}

// A Delivery is what has become of an event that a hook was to hear of.
type Delivery struct {
	Event string  `json:"event"`
	Kind  Kind    `json:"kind"`
	About *string `json:"about,omitempty"`
	// At is when it happened.
	At     time.Time  `json:"at"`
	Tries  int64      `json:"tries"`
	LastAt *time.Time `json:"last_at,omitempty"`
	// LastStatus is the status of the last answer, if there was one.
	LastStatus *int64 `json:"last_status,omitempty"`
	// LastError says why there was no answer.
	LastError   *string    `json:"last_error,omitempty"`
	DeliveredAt *time.Time `json:"delivered_at,omitempty"`
	GivenUpAt   *time.Time `json:"given_up_at,omitempty"`
}

const deliveryQuery = `SELECT e.id, e.kind, e.about, e.at, d.tries, d.last_at, d.last_status, d.last_error, d.delivered_at, d.given_up_at
	FROM hook_deliveries d JOIN hook_events e ON e.lab_id = d.lab_id AND e.id = d.event_id
	WHERE d.lab_id = $1 AND d.hook_id = $2`

// Deliveries is a hook's log of the last thirty days, the newest first. It
// refuses with NotFound.
func (c Hooks) Deliveries(ctx context.Context, tx pgx.Tx, s lab.Scope, hook string, p lab.Page) (lab.List[Delivery], error) {
	if _, err := c.Find(ctx, tx, s, hook); err != nil {
		return lab.List[Delivery]{}, err
	}
	rows, err := tx.Query(ctx, deliveryQuery+` AND ($3 = '' OR d.event_id < $3) ORDER BY d.event_id DESC LIMIT $4`,
		s.Lab.ID, hook, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Delivery]{}, fmt.Errorf("list deliveries: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Delivery])
	if err != nil {
		return lab.List[Delivery]{}, fmt.Errorf("list deliveries: %w", err)
	}
	return lab.Cut(items, p, func(d Delivery) string { return d.Event }), nil
}

// Ping sends a hook an event that says nothing, to try it out. It refuses with
// NotFound, and with Conflict ("hook-disabled").
func (c Hooks) Ping(ctx context.Context, tx pgx.Tx, s lab.Scope, hook string) (Delivery, error) {
	h, err := c.Find(ctx, tx, s, hook)
	if err != nil {
		return Delivery{}, err
	}
	if h.DisabledAt != nil {
		return Delivery{}, lab.Refuse(lab.Conflict, "hook-disabled", "nothing is sent to this web hook; switch it on first")
	}
	var event string
	err = tx.QueryRow(ctx, `
		WITH e AS (INSERT INTO hook_events (lab_id, id, kind, at) VALUES ($1, new_id('event', $3), $4, $3) RETURNING id)
		INSERT INTO hook_deliveries (lab_id, hook_id, event_id) SELECT $1, $2, id FROM e RETURNING event_id`,
		s.Lab.ID, hook, s.Now, pinged).Scan(&event)
	if err != nil {
		return Delivery{}, fmt.Errorf("ping: %w", err)
	}
	return Delivery{Event: event, Kind: pinged, At: s.Now}, jobs.Send(ctx, tx, s.Lab.ID, kindDelivery, deliveryJob{hook, event})
}

// deliveryWork sends events to hooks.
func deliveryWork(c Hooks) jobs.Work {
	client := caller(c.Anywhere)
	return jobs.Work{Kind: kindDelivery, Pauses: hookPauses, Outside: func(ctx context.Context, j jobs.Job) error {
		var in deliveryJob
		if err := json.Unmarshal(j.Payload, &in); err != nil {
			return fmt.Errorf("payload: %w", err)
		}
		var h Hook
		var e Event
		var open bool
		err := j.InTx(ctx, func(tx pgx.Tx) (err error) {
			h, e, open, err = findDelivery(ctx, tx, j.LabID, in)
			return err
		})
		if err != nil || !open {
			return err
		}
		status, failed := c.send(ctx, client, j, h, e)
		err = j.InTx(ctx, func(tx pgx.Tx) error { return note(ctx, tx, j, in, h, status, failed) })
		if status == http.StatusGone {
			failed = nil // nobody wants it: that is an end too
		}
		return errors.Join(failed, err)
	}}
}

// findDelivery reads what is to be sent. It is not open if the hook has gone or
// is switched off, or if the event got there and only this job did not hear of it.
func findDelivery(ctx context.Context, tx pgx.Tx, labID string, in deliveryJob) (h Hook, e Event, open bool, err error) {
	h, err = hookOf(ctx, tx, `SELECT `+hookColumns+` FROM hooks WHERE lab_id = $1 AND id = $2 AND disabled_at IS NULL`, labID, in.Hook)
	if lab.RefusalCode(err) == "not-found" {
		return h, e, false, nil
	}
	if err != nil {
		return h, e, false, err
	}
	rows, err := tx.Query(ctx, deliveryQuery+` AND d.event_id = $3`, labID, in.Hook, in.Event)
	if err != nil {
		return h, e, false, fmt.Errorf("find delivery: %w", err)
	}
	d, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Delivery])
	if errors.Is(err, pgx.ErrNoRows) {
		return h, e, false, nil
	}
	if err != nil {
		return h, e, false, fmt.Errorf("find delivery: %w", err)
	}
	return h, newEvent(labID, d.Event, d.Kind, d.About, d.At), d.DeliveredAt == nil && d.GivenUpAt == nil, nil
}

// send calls the hook once. It fails unless the answer is of 2xx, and says so if
// the answer asks for a while without another.
func (c Hooks) send(ctx context.Context, client *http.Client, j jobs.Job, h Hook, e Event) (status int, err error) {
	body, err := e.encode()
	if err != nil {
		return 0, err
	}
	secrets := [][]byte{hookSecret(c.Key, j.LabID, h.ID, h.number)}
	if h.FormerUntil != nil && j.Now.Before(*h.FormerUntil) {
		secrets = append(secrets, hookSecret(c.Key, j.LabID, h.ID, h.number-1))
	}
	header := http.Header{
		"Content-Type":      {eventMedia},
		"User-Agent":        {"wetside"},
		"Webhook-Id":        {e.ID},
		"Webhook-Timestamp": {strconv.FormatInt(j.Now.Unix(), 10)},
		"Webhook-Signature": {sign(e.ID, j.Now, body, secrets...)},
	}
	status, said, err := call(ctx, client, h.URL, header, bytes.NewReader(body))
	if err != nil || status >= 200 && status <= 299 {
		return status, err
	}
	err = fmt.Errorf("answered %d", status)
	if wait := retryAfter(status, said, j.Now); wait > 0 {
		err = &jobs.Later{Err: err, Wait: wait}
	}
	return status, err
}

// note writes down how a try went. A hook that answers 410, or that has given no
// good answer for as long as this event was tried, is switched off.
func note(ctx context.Context, tx pgx.Tx, j jobs.Job, in deliveryJob, h Hook, status int, failed error) error {
	var said *string
	if failed != nil && status == 0 {
		said = new(failed.Error())
	}
	end := failed != nil && (j.Last || status == http.StatusGone)
	_, err := tx.Exec(ctx, `UPDATE hook_deliveries SET tries = tries + 1, last_at = $4, last_status = nullif($5, 0), last_error = $6,
			delivered_at = CASE WHEN $7 THEN $4::timestamptz END, given_up_at = CASE WHEN $8 THEN $4::timestamptz END
		WHERE lab_id = $1 AND hook_id = $2 AND event_id = $3 AND delivered_at IS NULL`,
		j.LabID, in.Hook, in.Event, j.Now, status, said, failed == nil, end)
	if err != nil || !end {
		return err
	}
	why := "it answers that it is gone (410)"
	if status != http.StatusGone {
		why = "nothing has got there for days"
	}
	tag, err := tx.Exec(ctx, `UPDATE hooks SET disabled_at = $3, disabled_because = $4, version = version + 1
		WHERE lab_id = $1 AND id = $2 AND disabled_at IS NULL AND ($5 OR NOT EXISTS (SELECT FROM hook_deliveries d
			JOIN hook_events e ON e.lab_id = d.lab_id AND e.id = $6
			WHERE d.lab_id = $1 AND d.hook_id = $2 AND d.delivered_at > e.at))`,
		j.LabID, in.Hook, j.Now, why, status == http.StatusGone, in.Event)
	if err != nil || tag.RowsAffected() == 0 {
		return err
	}
	l, err := lab.Find(ctx, tx, j.LabID)
	if err != nil {
		return err
	}
	return Tell(ctx, tx, lab.Scope{Lab: l, Now: j.Now}, Notice{Kind: HookDisabled, To: []string{h.AddedBy}, Role: lab.RoleSteward, About: h.ID,
		Words: map[string]string{"url": h.URL, "why": why}})
}

// isCertificate says whether a call broke off at the other side's certificate.
func isCertificate(err error) bool {
	var wrong *tls.CertificateVerificationError
	var host x509.HostnameError
	return errors.As(err, &wrong) || errors.As(err, &host)
}
