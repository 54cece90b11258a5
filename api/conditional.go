package api

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"wetside/lab"
)

// A tag is "v<revision>-<digest>". The revision counts changes of the
// resource itself and is what If-Match goes by; the digest tells apart what
// else an answer shows (places taken, the reader's own rolls), so that 304
// never hides a change, which a strong tag promises.
func tagOf(revision int64, body []byte) string {
	sum := sha256.Sum256(body)
	return fmt.Sprintf(`"v%d-%s"`, revision, hex.EncodeToString(sum[:6]))
}

// digestTag is the tag of what has no revision: it is what its bytes are.
func digestTag(body []byte) string {
	sum := sha256.Sum256(body)
	return `"` + hex.EncodeToString(sum[:16]) + `"`
}

var tagText = regexp.MustCompile(`^"v([1-9][0-9]{0,17})(-[0-9a-f]{12})?"$`)

// splitTags splits a list of entity tags. Commas within quotes do not part.
func splitTags(header []string) []string {
	var tags []string
	for _, line := range header {
		quoted := false
		start := 0
		for i, c := range line + "," {
			switch {
			case c == '"':
				quoted = !quoted
			case c == ',' && (!quoted || i == len(line)):
				if tag := strings.TrimSpace(line[start:i]); tag != "" {
					tags = append(tags, tag)
				}
				start = i + 1
			}
		}
	}
	return tags
}

// precondition holds If-Match against the resource's revision now. It fails
// with 428 if the header is missing and refuses with Stale if no tag in it is
// of that revision; weak tags never are.
func precondition(header http.Header, revision int64) error {
	tags := splitTags(header.Values("If-Match"))
	if len(tags) == 0 {
		return &failure{status: http.StatusPreconditionRequired, code: "precondition-required",
			detail: "send If-Match with the ETag of the resource as you last read it"}
	}
	for _, tag := range tags {
		if tag == "*" {
			return nil
		}
		if m := tagText.FindStringSubmatch(tag); m != nil && m[1] == strconv.FormatInt(revision, 10) {
			return nil
		}
	}
	return lab.Refuse(lab.Stale, "stale", "this has changed since you read it; read it again")
}

// unchanged says whether If-None-Match names the tag, so that 304 will do.
// The comparison is weak, as RFC 9110 has it for this header.
func unchanged(header http.Header, tag string) bool {
	for _, t := range splitTags(header.Values("If-None-Match")) {
		if t == "*" || strings.TrimPrefix(t, "W/") == tag {
			return true
		}
	}
	return false
}
