package telling_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/lab/telling"
)

// verify is a receiver's, written from the text of Standard Webhooks 1.0,
// "Verifying signatures", and sharing nothing with the sender.
func verify(secret string, h http.Header, body string, now time.Time) error {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil || len(key) < 24 || len(key) > 64 {
		return errors.New("no such secret")
	}
	id, stamp := h.Get("webhook-id"), h.Get("webhook-timestamp")
	sent, err := strconv.ParseInt(stamp, 10, 64)
	if err != nil || id == "" {
		return errors.New("headers are missing")
	}
	if age := now.Sub(time.Unix(sent, 0)); age > 5*time.Minute || age < -5*time.Minute {
		return errors.New("too old, or from the future")
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + stamp + "." + body))
	want := base64.StdEncoding.EncodeToString(mac.Sum(nil))
	for _, one := range strings.Split(h.Get("webhook-signature"), " ") {
		version, signature, _ := strings.Cut(one, ",")
		if version == "v1" && subtle.ConstantTimeCompare([]byte(signature), []byte(want)) == 1 {
			return nil
		}
	}
	return errors.New("no signature holds")
}

// The vector that the reference libraries of Standard Webhooks test with.
func TestSignaturesAreThePublishedOnes(t *testing.T) {
	t.Parallel()
	const secret, id, body = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek", `{"test": 2432232314}`
	const want = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	at := time.Unix(1614265330, 0)
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil {
		t.Fatal(err)
	}
	if got := telling.Sign(id, at, []byte(body), key); got != want {
		t.Errorf("signed %s, want %s", got, want)
	}
	header := func(signature string) http.Header {
		h := http.Header{}
		h.Set("webhook-id", id)
		h.Set("webhook-timestamp", "1614265330")
		h.Set("webhook-signature", signature)
		return h
	}
	both := telling.Sign(id, at, []byte(body), []byte("another secret of 24 bytes or more"), key)
	for name, c := range map[string]struct {
		signature, body string
		now             time.Time
		holds           bool
	}{
		"as sent":         {want, body, at, true},
		"during rotation": {both, body, at.Add(time.Minute), true},
		"another body":    {want, `{"test": 2432232315}`, at, false},
		"replayed":        {want, body, at.Add(6 * time.Minute), false},
		"from the future": {want, body, at.Add(-6 * time.Minute), false},
		"no signature":    {"", body, at, false},
		"another version": {strings.Replace(want, "v1,", "v1a,", 1), body, at, false},
	} {
		if err := verify(secret, header(c.signature), c.body, c.now); (err == nil) != c.holds {
			t.Errorf("%s: %v", name, err)
		}
	}
}
