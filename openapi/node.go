package openapi

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// A node is a part of the contract, in the order in which it is written: the
// page keeps that order, which a map would lose.
type node struct {
	*yaml.Node
	root *yaml.Node
}

// readDocument parses the contract. It fails on text that is not a YAML mapping.
func readDocument(text []byte) (node, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return node{}, fmt.Errorf("read contract: %w", err)
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		return node{}, fmt.Errorf("read contract: want a mapping")
	}
	return node{doc.Content[0], doc.Content[0]}, nil
}

// there says whether the node was found.
func (n node) there() bool { return n.Node != nil }

// at follows names into mappings; a node that is not there if one is missing.
func (n node) at(names ...string) node {
	for _, name := range names {
		n = n.field(name)
	}
	return n
}

func (n node) field(name string) node {
	if n.there() && n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == name {
				return node{n.Content[i+1], n.root}
			}
		}
	}
	return node{nil, n.root}
}

// text is a scalar's text, "" if it is not there.
func (n node) text() string {
	if n.there() && n.Kind == yaml.ScalarNode {
		return n.Value
	}
	return ""
}

// items are a sequence's parts.
func (n node) items() []node {
	if !n.there() || n.Kind != yaml.SequenceNode {
		return nil
	}
	list := make([]node, len(n.Content))
	for i, c := range n.Content {
		list[i] = node{c, n.root}
	}
	return list
}

// texts are the scalars of a sequence.
func (n node) texts() []string {
	var list []string
	for _, item := range n.items() {
		list = append(list, item.text())
	}
	return list
}

// A pair is one entry of a mapping.
type pair struct {
	name  string
	value node
}

// pairs are a mapping's entries, in order.
func (n node) pairs() []pair {
	if !n.there() || n.Kind != yaml.MappingNode {
		return nil
	}
	var list []pair
	for i := 0; i+1 < len(n.Content); i += 2 {
		list = append(list, pair{n.Content[i].Value, node{n.Content[i+1], n.root}})
	}
	return list
}

// resolved follows $ref, which in the contract points within it.
func (n node) resolved() node {
	ref := n.at("$ref").text()
	if ref == "" {
		return n
	}
	return node{n.root, n.root}.at(strings.Split(strings.TrimPrefix(ref, "#/"), "/")...).resolved()
}

// name is the last part of a $ref, "" if the node is none.
func (n node) name() string {
	ref := n.at("$ref").text()
	return ref[strings.LastIndex(ref, "/")+1:]
}

// description is the node's own, or that of what it refers to.
func (n node) description() string {
	if own := n.at("description").text(); own != "" {
		return own
	}
	return n.resolved().at("description").text()
}
