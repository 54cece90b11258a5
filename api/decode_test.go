package api_test

import (
	"encoding/json"
	"net/http"
	"reflect"
	"strings"
	"testing"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

func TestBodiesAreReadStrictly(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	fault := func(pointer, code string) []lab.Fault { return []lab.Fault{{Pointer: pointer, Code: code}} }
	const good = `"positions":8,"drop_mm":1700,"drying":"PT4H"`
	for name, row := range map[string]struct {
		body   string
		faults []lab.Fault
	}{
		"empty":             {" ", nil},
		"not JSON":          {`{"name":`, nil},
		"text after it":     {`{"name":"A",` + good + `} x`, nil},
		"another after it":  {`{"name":"A",` + good + `}{}`, nil},
		"not an object":     {`[]`, fault("", "wrong-type")},
		"null":              {`null`, fault("", "wrong-type")},
		"twice":             {`{"name":"A","name":"B",` + good + `}`, fault("/name", "duplicate")},
		"unknown":           {`{"name":"A","colour":1,` + good + `}`, fault("/colour", "unknown-field")},
		"other case":        {`{"name":"A","Name":"B",` + good + `}`, fault("/Name", "unknown-field")},
		"needs escaping":    {`{"name":"A","a/b~c":1,` + good + `}`, fault("/a~1b~0c", "unknown-field")},
		"missing":           {`{` + good + `}`, fault("/name", "required")},
		"wrong type":        {`{"name":1,` + good + `}`, fault("/name", "wrong-type")},
		"null field":        {`{"name":null,` + good + `}`, fault("/name", "wrong-type")},
		"NUL":               {`{"name":"A\u0000",` + good + `}`, fault("/name", "control-character")},
		"blank":             {`{"name":"  ",` + good + `}`, fault("/name", "pattern")},
		"exponent":          {`{"name":"A","positions":1e999999999,"drop_mm":1,"drying":"PT4H"}`, fault("/positions", "wrong-type")},
		"huge number":       {`{"name":"A","positions":` + strings.Repeat("9", 1000) + `,"drop_mm":1,"drying":"PT4H"}`, fault("/positions", "wrong-type")},
		"fraction":          {`{"name":"A","positions":1.5,"drop_mm":1,"drying":"PT4H"}`, fault("/positions", "wrong-type")},
		"out of range":      {`{"name":"A","positions":0,"drop_mm":1,"drying":"PT4H"}`, fault("/positions", "out-of-range")},
		"not a duration":    {`{"name":"A","positions":1,"drop_mm":1,"drying":"P1M"}`, fault("/drying", "format")},
		"deep":              {strings.Repeat("[", 40) + strings.Repeat("]", 40), nil},
		"several at a time": {`{"name":1,"drop_mm":0,"drying":"PT4H","x":2}`, []lab.Fault{{Pointer: "/name", Code: "wrong-type"}, {Pointer: "/drop_mm", Code: "out-of-range"}, {Pointer: "/positions", Code: "required"}, {Pointer: "/x", Code: "unknown-field"}}},
		"not UTF-8":         {"{\"name\":\"\xff\"," + good + "}", nil},
	} {
		t.Run(name, func(t *testing.T) {
			p := keeper.For(t).Do(http.MethodPost, keeper.Path("cabinets"), row.body).WantProblem(http.StatusBadRequest, "malformed")
			for _, want := range row.faults {
				found := false
				for _, f := range p.Errors {
					found = found || f.Pointer == want.Pointer && f.Code == want.Code && f.Detail != ""
				}
				if !found {
					t.Errorf("want %s at %q, got %+v", want.Code, want.Pointer, p.Errors)
				}
			}
		})
	}
	t.Run("syntax errors say where", func(t *testing.T) {
		p := keeper.Do(http.MethodPost, keeper.Path("cabinets"), `{"name": x}`).WantProblem(http.StatusBadRequest, "malformed")
		if !strings.Contains(p.Detail, "byte 10") {
			t.Errorf("detail is %q", p.Detail)
		}
	})
}

func TestBodiesOfOtherTypesOrSizes(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	const body = `{"name":"A","positions":8,"drop_mm":1700,"drying":"PT4H"}`
	for _, media := range []string{"text/plain", "application/json; charset=latin1", "application/x-www-form-urlencoded", ""} {
		r := keeper.With("Content-Type", media).Do(http.MethodPost, keeper.Path("cabinets"), body)
		r.WantProblem(http.StatusUnsupportedMediaType, "unsupported-media-type")
		if r.Header("Accept-Post") != "application/json" {
			t.Errorf("%s: Accept-Post is %q", media, r.Header("Accept-Post"))
		}
	}
	keeper.With("Content-Type", "application/json; charset=UTF-8").Do(http.MethodPost, keeper.Path("cabinets"), body).Want(http.StatusCreated)

	patch := keeper.With("Content-Type", "application/json").With("If-Match", "*").Do(http.MethodPatch, keeper.Path(), `{"name":"B"}`)
	patch.Want(http.StatusUnsupportedMediaType)
	if patch.Header("Accept-Patch") != "application/merge-patch+json" {
		t.Errorf("Accept-Patch is %q", patch.Header("Accept-Patch"))
	}

	keeper.With("Content-Encoding", "gzip").Do(http.MethodPost, keeper.Path("cabinets"), body).
		WantProblem(http.StatusUnsupportedMediaType, "unsupported-media-type")

	huge := `{"name":"` + strings.Repeat("a", 1<<20) + `"}`
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), huge).WantProblem(http.StatusRequestEntityTooLarge, "too-large")
}

func TestQueriesAreReadStrictly(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for query, want := range map[string]string{
		"colour=red":         "unknown-parameter",
		"limit=0":            "out-of-range",
		"limit=-1":           "out-of-range",
		"limit=x":            "out-of-range",
		"limit=1&limit=2":    "out-of-range",
		"cursor=":            "length",
		"cursor=bm9uc2Vuc2U": "not-ours",
	} {
		p := keeper.Get(keeper.Path("tanks")+"?"+query).WantProblem(http.StatusBadRequest, "malformed")
		if len(p.Errors) != 1 || p.Errors[0].Code != want || p.Errors[0].Parameter == "" {
			t.Errorf("%s: %+v", query, p.Errors)
		}
	}
	keeper.Get(keeper.Path("tanks") + "?limit=100000").Want(http.StatusOK)
}

// FuzzParseJSON: what the strict decoder takes, the standard one takes too,
// with the same value.
func FuzzParseJSON(f *testing.F) {
	for _, s := range []string{`{"a":[1,2,{"b":null}],"c":"\u00e9"}`, `{"a":1,"a":2}`, `[`, `1e9`, `"\ud800"`, `{"":{}}`, " ", `{} {}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := api.ParseJSON(data)
		if err != nil {
			if lab.RefusalCode(err) != "malformed" {
				t.Fatalf("fails with %v", err)
			}
			return
		}
		dec := json.NewDecoder(strings.NewReader(string(data)))
		dec.UseNumber()
		var want any
		if err := dec.Decode(&want); err != nil {
			t.Fatalf("takes what is not JSON: %v", err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("reads %#v, want %#v", got, want)
		}
	})
}

// BenchmarkCheckBody is what holding a body against the contract costs.
func BenchmarkCheckBody(b *testing.B) {
	a := apitest.Start(b).API
	body := []byte(`{"name":"Long tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35","spiral-120"],"clean_up":"PT15M","flush":"PT10M"}`)
	b.ReportAllocs()
	for b.Loop() {
		if err := a.CheckForTest("addTank", "application/json", body); err != nil {
			b.Fatal(err)
		}
	}
}
