package openapi

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
)

//go:embed reference.html
var referenceHTML string

//go:embed reference.css
var referenceCSS string

var referencePage = template.Must(template.New("reference").Funcs(template.FuncMap{
	"inline": inline, "breakable": breakable,
}).Parse(referenceHTML))

// Reference is the contract as an HTML page for people. It stands alone: no
// script, nothing from elsewhere. It fails if the contract is not sound YAML.
func Reference() ([]byte, error) {
	doc, err := readDocument(Document)
	if err != nil {
		return nil, err
	}
	var page bytes.Buffer
	if err := referencePage.Execute(&page, pageOf(doc)); err != nil {
		return nil, fmt.Errorf("write reference: %w", err)
	}
	return page.Bytes(), nil
}

// A reference is what the page shows.
type reference struct {
	Title, Summary string
	Style          template.CSS
	About          template.HTML
	Conventions    []convention
	Sections       []section
	Schemas        []schemaTable
	Problems       []problemGroup
}

// A problemGroup is the types of problem of one status.
type problemGroup struct {
	Status string
	Name   string
	Codes  []string
}

type convention struct{ Title, ID, Text string }

type section struct {
	Tag, Description string
	Operations       []operation
}

type operation struct {
	ID, Method, Path, Summary, Description, Who string
	Parameters                                  []field
	Also                                        []string // the parameters that the conventions explain
	Body                                        *body
	Answer                                      answer
	Problems                                    []problem
	Codes                                       []string
}

// A field is a row of a table.
type field struct {
	Name, In, Description string
	Required              bool
	Type                  template.HTML
}

type body struct {
	Media, Schema, Example string
	Fields                 []field
}

type answer struct {
	Status               int
	Description          string
	Type                 template.HTML
	Headers              []string
	Media, Like, Example string
}

type problem struct {
	Status            int
	Name, Description string
}

type schemaTable struct {
	Name, Description string
	Type              template.HTML
	Fields            []field
	Closed            bool
}

func pageOf(doc node) reference {
	r := reference{
		Title:   doc.at("info", "title").text(),
		Summary: doc.at("info", "summary").text(),
		Style:   template.CSS(referenceCSS),
		About:   prose(doc.at("info", "description").text()),
	}
	for _, c := range doc.at("info", "x-conventions").items() {
		title := c.at("title").text()
		id := strings.ReplaceAll(strings.ToLower(title), " ", "-")
		r.Conventions = append(r.Conventions, convention{title, id, c.at("text").text()})
	}
	for _, tag := range doc.at("tags").items() {
		s := section{Tag: tag.at("name").text(), Description: tag.at("description").text()}
		for _, path := range doc.at("paths").pairs() {
			for _, method := range path.value.pairs() {
				if slices.Contains(method.value.at("tags").texts(), s.Tag) {
					s.Operations = append(s.Operations, operationOf(strings.ToUpper(method.name), path, method.value))
				}
			}
		}
		r.Sections = append(r.Sections, s)
	}
	for _, group := range doc.at("x-problem-types").pairs() {
		status, _ := strconv.Atoi(group.name) // 0 has no name
		r.Problems = append(r.Problems, problemGroup{group.name, http.StatusText(status), group.value.texts()})
	}
	for _, schema := range doc.at("components", "schemas").pairs() {
		r.Schemas = append(r.Schemas, schemaOf(schema))
	}
	return r
}

// common are the parameters that the conventions explain once for all.
var common = []string{"Idempotency-Key", "If-Match", "If-None-Match", "Trial-Time", "limit", "cursor"}

func operationOf(method string, path pair, op node) operation {
	o := operation{
		ID: op.at("operationId").text(), Method: method, Path: path.name,
		Summary: op.at("summary").text(), Description: op.at("description").text(),
		Who: mayPhrase(op.at("x-may").texts()), Codes: op.at("x-problems").texts(),
	}
	for _, ref := range append(path.value.at("parameters").items(), op.at("parameters").items()...) {
		p := ref.resolved()
		name := p.at("name").text()
		if name == "lab" { // leads nearly every path
			continue
		}
		if slices.Contains(common, name) {
			o.Also = append(o.Also, name)
			continue
		}
		o.Parameters = append(o.Parameters, field{
			Name: name, In: p.at("in").text(), Description: p.description(),
			Required: p.at("required").text() == "true", Type: typePhrase(p.at("schema")),
		})
	}
	for _, content := range op.at("requestBody", "content").pairs() {
		schema := content.value.at("schema")
		o.Body = &body{Media: content.name, Schema: schema.name(), Example: writeJSON(exampleOf(schema)), Fields: fieldsOf(schema)}
	}
	for _, given := range op.at("responses").pairs() {
		status, err := strconv.Atoi(given.name)
		r := given.value.resolved()
		switch {
		case err != nil || status == http.StatusNotModified:
		case status < 300:
			o.Answer = answerOf(status, r)
		default:
			o.Problems = append(o.Problems, problem{status, http.StatusText(status), r.description()})
		}
	}
	return o
}

func answerOf(status int, r node) answer {
	a := answer{Status: status, Description: r.description()}
	for _, h := range r.at("headers").pairs() {
		a.Headers = append(a.Headers, h.name)
	}
	for _, content := range r.at("content").pairs() {
		a.Media = content.name
		if schema := content.value.at("schema"); schema.there() {
			a.Type = typePhrase(schema)
			if example := exampleOf(schema); example.there() {
				a.Example = writeJSON(example)
			}
		}
	}
	return a
}

// fieldsOf are the rows of an object's table.
func fieldsOf(schema node) []field {
	s := schema.resolved()
	var fields []field
	for _, part := range s.at("allOf").items() {
		fields = append(fields, fieldsOf(part)...)
	}
	required := s.at("required").texts()
	for _, p := range s.at("properties").pairs() {
		fields = append(fields, field{
			Name: p.name, Required: slices.Contains(required, p.name),
			Type: typePhrase(p.value), Description: p.value.description(),
		})
	}
	return fields
}

func schemaOf(p pair) schemaTable {
	t := schemaTable{
		Name: p.name, Description: p.value.at("description").text(), Fields: fieldsOf(p.value),
		Closed: p.value.at("additionalProperties").text() == "false",
	}
	if len(t.Fields) == 0 {
		t.Type = typePhrase(p.value)
	}
	return t
}
