package openapi_test

import (
	"encoding/json"
	"html"
	"os"
	"regexp"
	"strings"
	"testing"

	"wetside/openapi"
)

func referencePage(t *testing.T) string {
	t.Helper()
	page, err := openapi.Reference()
	if err != nil {
		t.Fatal(err)
	}
	return string(page)
}

func TestReferenceShowsEveryOperationAndSchema(t *testing.T) {
	t.Parallel()
	page := referencePage(t)
	if out := os.Getenv("REFERENCE_OUT"); out != "" {
		if err := os.WriteFile(out, []byte(page), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	doc := document(t)
	for path, item := range doc.Paths.Map() {
		for _, op := range item.Operations() {
			if n := strings.Count(page, `<article id="`+op.OperationID+`">`); n != 1 {
				t.Errorf("%s is shown %d times", op.OperationID, n)
			}
		}
		if !strings.Contains(page, "<code>"+path+"</code>") {
			t.Errorf("%s is not shown", path)
		}
	}
	for name := range doc.Components.Schemas {
		if !strings.Contains(page, `id="schema-`+name+`"`) {
			t.Errorf("schema %s is not shown", name)
		}
	}
}

func TestReferenceStandsAlone(t *testing.T) {
	t.Parallel()
	page := referencePage(t)
	ids := map[string]int{}
	for _, m := range regexp.MustCompile(`\sid="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		ids[m[1]]++
		if ids[m[1]] > 1 {
			t.Errorf("id %q is there twice", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`href="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		switch anchor, within := strings.CutPrefix(m[1], "#"); {
		case within && ids[anchor] == 0:
			t.Errorf("a link goes to %q, which is not there", m[1])
		case !within && m[1] != "/openapi.yaml" && !strings.HasPrefix(m[1], "/problems/"):
			t.Errorf("a link goes elsewhere: %q", m[1])
		}
	}
	for _, foreign := range []string{"<script", "src=", "http://", "https://", "@import", "url(", "ZgotmplZ"} {
		// Nothing is loaded from the addresses of examples, which stand as text (RFC 2606 keeps the name for them).
		if strings.Contains(strings.ReplaceAll(page, "https://example.org", ""), foreign) {
			t.Errorf("the page holds %q", foreign)
		}
	}
}

func TestReferenceExamplesAreJSON(t *testing.T) {
	t.Parallel()
	examples := 0
	for _, m := range regexp.MustCompile(`(?s)<pre><code>([\[{].*?)</code></pre>`).FindAllStringSubmatch(referencePage(t), -1) {
		examples++
		if text := html.UnescapeString(m[1]); !json.Valid([]byte(text)) {
			t.Errorf("not JSON:\n%s", text)
		}
	}
	if examples < 90 {
		t.Errorf("only %d examples are shown", examples)
	}
}
