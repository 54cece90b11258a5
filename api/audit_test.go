package api_test

import (
	"net/http"
	"strings"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
)

// Every write leaves one line, with ids alone, that nobody can change; a
// refused one and a repeated one leave none.
func TestWritesLeaveALineInTheAuditLog(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	ann := s.Join(t, keeper, "Ann Quillmark")
	keeper.Post(keeper.Path("reel-kinds"), `{"code":"spiral-35","name":"Spiral","count":4,"height_mm":44,"solution_ml":290}`).Want(http.StatusCreated)
	began := len(apitest.As[lab.List[lab.Act]](keeper.Get(keeper.Path("audit-log"))).Items)

	tank := apitest.As[lab.Tank](keeper.Post(keeper.Path("tanks"), `{"name":"Long tank","height_mm":205,"volume_ml":1500,"heater_w":500,"reel_kinds":["spiral-35"],"clean_up":"PT10M","flush":"PT5M"}`).Want(http.StatusCreated))
	certification := keeper.Path("members", ann.MemberID, "certifications", tank.ID)
	keeper.Do(http.MethodPut, certification, nil).Want(http.StatusOK)
	ann.Do(http.MethodDelete, certification, nil).WantProblem(http.StatusForbidden, "forbidden")
	once := keeper.With("Idempotency-Key", "once")
	first := once.Post(keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	once.Post(keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	keeper.Do(http.MethodDelete, certification, nil).Want(http.StatusNoContent)

	log := keeper.Get(keeper.Path("audit-log"))
	acts := apitest.As[lab.List[lab.Act]](log).Items[began:]
	var got []string
	for _, a := range acts {
		line := a.Operation + " " + a.Object
		if a.Made != nil {
			line += " → " + *a.Made
		}
		got = append(got, line)
		if a.By == nil || *a.By != keeper.MemberID || a.Request == "" {
			t.Errorf("%s: by %v, request %q", a.Operation, a.By, a.Request)
		}
	}
	below := strings.TrimPrefix(certification, keeper.Path())
	want := []string{
		"addTank /tanks → /tanks/" + tank.ID,
		"certifyMember " + below,
		"addCabinet /cabinets → " + strings.TrimPrefix(first.Header("Location"), keeper.Path()),
		"decertifyMember " + below,
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("the log has\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if strings.Contains(string(log.Body), "Quillmark") || strings.Contains(string(log.Body), "Tarrow") {
		t.Error("the log names people")
	}

	// A member reads what is about them, and nothing else.
	ann.Get(ann.Path("audit-log")).WantProblem(http.StatusForbidden, "forbidden")
	ann.Get(ann.Path("members", keeper.MemberID, "audit-log")).WantProblem(http.StatusNotFound, "not-found")
	var about []string
	next := ann.Path("members", ann.MemberID, "audit-log") + "?limit=2"
	for pages := 0; next != "" && pages < 9; pages++ {
		page := ann.Get(next).Want(http.StatusOK)
		for _, a := range apitest.As[lab.List[lab.Act]](page).Items {
			about = append(about, a.Operation)
		}
		link, _, more := strings.Cut(page.Header("Link"), ">")
		if next = strings.TrimPrefix(link, "<"); !more {
			next = ""
		}
	}
	if strings.Join(about, " ") != "addMember createSignInCode createToken certifyMember decertifyMember" {
		t.Errorf("about the member: %s", about)
	}

	for _, sql := range []string{`UPDATE audit_log SET operation = ''`, `DELETE FROM audit_log`, `TRUNCATE audit_log`} {
		if _, err := s.Pool.Exec(t.Context(), sql); !lab.Violates(err, "23001", "audit_log_append_only") {
			t.Errorf("%s, by the owner: %v", sql, err)
		}
	}
}
