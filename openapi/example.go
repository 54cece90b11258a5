package openapi

import (
	"encoding/json"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// exampleOf is a value that a schema describes: its own first example or, of
// an object or a list, one made of its parts'. It is not there if none can be.
func exampleOf(schema node) node {
	s := schema.resolved()
	if own := s.at("examples").items(); len(own) > 0 {
		return own[0]
	}
	made := node{&yaml.Node{Kind: yaml.MappingNode}, s.root}
	for _, part := range s.at("allOf").items() {
		if e := exampleOf(part); e.there() && e.Kind == yaml.MappingNode {
			made.Content = append(made.Content, e.Content...)
		}
	}
	switch s.at("type").text() {
	case "array":
		made.Kind = yaml.SequenceNode
		if e := exampleOf(s.at("items")); e.there() {
			made.Content = append(made.Content, e.Node)
		}
	case "object":
		required := s.at("required").texts()
		for _, p := range s.at("properties").pairs() {
			if e := exampleOf(p.value); e.there() && slices.Contains(required, p.name) {
				made.Content = append(made.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: p.name}, e.Node)
			}
		}
	}
	if len(made.Content) == 0 {
		return node{nil, s.root}
	}
	return made
}

// lineWidth is how long a line of an example may be before it is broken up.
const lineWidth = 56

// writeJSON writes a value as JSON for people: in the order of the contract,
// with what fits on a line on one.
func writeJSON(n node) string {
	var b strings.Builder
	writeValue(&b, n, "")
	return b.String()
}

func writeValue(b *strings.Builder, n node, indent string) {
	short := compact(n)
	nested := len(n.Content) > 0
	if !nested || len(indent)+len([]rune(short)) <= lineWidth {
		b.WriteString(short)
		return
	}
	inner := indent + "  "
	if n.Kind == yaml.SequenceNode {
		b.WriteString("[\n")
		for i, item := range n.items() {
			b.WriteString(inner)
			writeValue(b, item, inner)
			b.WriteString(separator(i+1, len(n.Content)))
		}
		b.WriteString(indent + "]")
		return
	}
	b.WriteString("{\n")
	for i, p := range n.pairs() {
		b.WriteString(inner + quoted(p.name) + ": ")
		writeValue(b, p.value, inner)
		b.WriteString(separator(i+1, len(n.Content)/2))
	}
	b.WriteString(indent + "}")
}

func separator(i, n int) string {
	if i < n {
		return ",\n"
	}
	return "\n"
}

// compact writes a value on one line.
func compact(n node) string {
	var parts []string
	switch n.Kind {
	case yaml.SequenceNode:
		for _, item := range n.items() {
			parts = append(parts, compact(item))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case yaml.MappingNode:
		for _, p := range n.pairs() {
			parts = append(parts, quoted(p.name)+": "+compact(p.value))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	switch n.ShortTag() {
	case "!!int", "!!bool", "!!null":
		return n.Value
	}
	return quoted(n.Value)
}

func quoted(s string) string {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		return `""` // text always encodes
	}
	return strings.TrimSuffix(b.String(), "\n")
}
