package main

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
)

// A script is what one client of pgbench is to send again and again.
type script struct {
	text   string
	names  map[string]string // of the values
	values []string          // as NAME=VALUE
}

// name gives a value its name.
func (s *script) name(value string) string {
	if s.names[value] == "" {
		name := "v" + strconv.Itoa(len(s.names))
		s.names[value] = name
		s.values = append(s.values, name+"="+value)
	}
	return s.names[value]
}

// A writer writes scripts, with what it has learnt about statements.
type writer struct {
	conn   *pgx.Conn
	types  map[uint32]string   // names by OID
	params map[string][]uint32 // OIDs by statement
}

var (
	placeholder = regexp.MustCompile(`\$[0-9]+`)
	makesAnID   = regexp.MustCompile(`(?is)^\s*INSERT INTO \w+ .*RETURNING id\s*$`)
)

// script writes a script of statements. An id that the database makes differs
// each time: the statements after it get the new one.
func (w *writer) script(ctx context.Context, heard []said) (*script, error) {
	s := &script{names: map[string]string{}}
	var text strings.Builder
	made := map[string]bool{} // ids that the database made
	together := false
	heard = parted(heard)
	for i, h := range heard {
		if h.along && !together {
			text.WriteString("\\startpipeline\n")
			together = true
		}
		sql, err := w.bind(ctx, s, h, made)
		if err != nil {
			return nil, fmt.Errorf("%w, of %s", err, h.sql)
		}
		text.WriteString(strings.TrimSpace(sql))
		if !together && makesAnID.MatchString(h.sql) && i+1 < len(heard) {
			// The statements that follow are the first to know the id.
			if id := newID(heard[:i+1], heard[i+1:]); id != "" {
				made[id] = true
				text.WriteString("\n\\gset\n")
				continue
			}
		}
		text.WriteString(";\n")
		if together && !h.along {
			text.WriteString("\\endpipeline\n")
			together = false
		}
	}
	s.text = text.String()
	return s, nil
}

// parted is what was heard, with texts of several statements taken apart, which
// pgbench would send one after another.
func parted(heard []said) []said {
	var out []said
	for _, h := range heard {
		if len(h.args) > 0 {
			out = append(out, h)
			continue
		}
		statements := strings.Split(h.sql, ";")
		for i, sql := range statements {
			out = append(out, said{sql: sql, along: i < len(statements)-1})
		}
	}
	return out
}

// newID is the id, in the second argument of the statement that comes next, that
// none before has.
func newID(before, after []said) string {
	known := map[string]bool{}
	for _, h := range before {
		for _, a := range h.args {
			if id, ok := a.(string); ok {
				known[id] = true
			}
		}
	}
	for _, a := range after[0].args {
		if id, ok := a.(string); ok && !known[id] {
			return id
		}
	}
	return ""
}

// bind writes a statement with its values by name, each of the type that
// PostgreSQL takes it to have.
func (w *writer) bind(ctx context.Context, s *script, h said, made map[string]bool) (string, error) {
	if len(h.args) == 0 {
		return h.sql, nil
	}
	oids, known := w.params[h.sql]
	if !known {
		d, err := w.conn.Prepare(ctx, "", h.sql)
		if err != nil {
			return "", err
		}
		oids = d.ParamOIDs
		w.params[h.sql] = oids
	}
	bound := make([]string, len(oids))
	for i, oid := range oids {
		name, err := w.typeName(ctx, oid)
		if err != nil {
			return "", err
		}
		text, err := w.conn.TypeMap().Encode(oid, pgx.TextFormatCode, h.args[i], nil)
		switch {
		case err != nil:
			return "", err
		case text == nil:
			bound[i] = "NULL::" + name
		case made[string(text)]:
			bound[i] = ":id::" + name
		default:
			bound[i] = ":" + s.name(string(text)) + "::" + name
		}
	}
	return placeholder.ReplaceAllStringFunc(h.sql, func(p string) string {
		n, _ := strconv.Atoi(p[1:]) // of digits alone
		return bound[n-1]
	}), nil
}

func (w *writer) typeName(ctx context.Context, oid uint32) (string, error) {
	if w.types[oid] == "" {
		var name string
		if err := w.conn.QueryRow(ctx, `SELECT format_type($1, NULL)`, oid).Scan(&name); err != nil {
			return "", err
		}
		w.types[oid] = name
	}
	return w.types[oid], nil
}
