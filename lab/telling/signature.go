package telling

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// secretPrefix begins the text of a hook's secret (Standard Webhooks 1.0).
const secretPrefix = "whsec_"

// hookSecret is the number-th secret of a hook, 32 bytes. It is derived from the
// server's key and kept nowhere: who reads the database cannot sign.
func hookSecret(key []byte, labID, hookID string, number int) []byte {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(labID + "/" + hookID + "/" + strconv.Itoa(number)))
	return mac.Sum(nil)
}

// secretText is a secret as it is shown, once.
func secretText(secret []byte) string {
	return secretPrefix + base64.StdEncoding.EncodeToString(secret)
}

// sign is the header webhook-signature of a body sent at an instant: one
// signature for each secret, the newest first (Standard Webhooks 1.0,
// "Signature scheme"): HMAC-SHA256 of id, time and body, in base64 behind "v1,".
func sign(id string, at time.Time, body []byte, secrets ...[]byte) string {
	var all []string
	for _, secret := range secrets {
		mac := hmac.New(sha256.New, secret)
		fmt.Fprintf(mac, "%s.%d.%s", id, at.Unix(), body)
		all = append(all, "v1,"+base64.StdEncoding.EncodeToString(mac.Sum(nil)))
	}
	return strings.Join(all, " ")
}
