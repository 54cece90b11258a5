package openapi

import (
	"fmt"
	"html/template"
	"regexp"
	"strings"
)

// typePhrase says in words and links what a value of a schema is, for the
// tables: "list of <a>RollId</a>, 1 to 100 of them".
func typePhrase(schema node) template.HTML {
	if name := schema.name(); name != "" {
		return template.HTML(fmt.Sprintf(`<a href="#schema-%[1]s">%[1]s</a>`, template.HTMLEscapeString(name)))
	}
	var parts []string
	for _, alternative := range schema.at("anyOf").items() {
		parts = append(parts, string(typePhrase(alternative)))
	}
	if len(parts) > 0 {
		return template.HTML(strings.Join(parts, " or "))
	}
	kinds := schema.at("type").texts()
	if one := schema.at("type").text(); one != "" {
		kinds = []string{one}
	}
	for _, kind := range kinds {
		parts = append(parts, kindPhrase(kind, schema))
	}
	return template.HTML(strings.Join(parts, " or "))
}

func kindPhrase(kind string, s node) string {
	escape := template.HTMLEscapeString
	switch kind {
	case "string":
		if values := s.at("enum").texts(); len(values) > 0 {
			return "<code>" + strings.Join(values, "</code>, <code>") + "</code>"
		}
		if value := s.at("const").text(); value != "" {
			return "<code>" + escape(value) + "</code>"
		}
		if example := s.at("examples").items(); len(example) > 0 && example[0].text() != "" {
			return "text such as <code>" + escape(example[0].text()) + "</code>"
		}
		phrase := "text"
		if size := between(s.at("minLength").text(), s.at("maxLength").text()); size != "" {
			phrase += ", " + size + " characters"
		}
		if pattern := s.at("pattern").text(); pattern != "" && pattern != `\S` && len(pattern) <= 60 {
			phrase += ", <code class=\"pattern\">" + escape(pattern) + "</code>"
		}
		return phrase
	case "integer":
		if bounds := between(s.at("minimum").text(), s.at("maximum").text()); bounds != "" {
			return "integer, " + bounds
		}
		return "integer"
	case "boolean":
		return "<code>true</code> or <code>false</code>"
	case "array":
		phrase := "list of " + string(typePhrase(s.at("items")))
		if items := s.at("items"); items.name() == "" && items.at("type").text() == "object" {
			phrase = "list of objects: " + fieldNames(items)
		}
		if size := between(s.at("minItems").text(), s.at("maxItems").text()); size != "" {
			phrase += ", " + size
		}
		return phrase
	case "object":
		if values := s.at("additionalProperties"); values.there() && values.text() != "false" {
			return "object of any names, each " + string(typePhrase(values))
		}
		if s.at("properties").there() {
			return "object: " + fieldNames(s)
		}
		return "object"
	default:
		return escape(kind)
	}
}

// fieldNames lists the fields of an object without a name of its own.
func fieldNames(s node) string {
	var parts []string
	for _, p := range s.at("properties").pairs() {
		parts = append(parts, "<code>"+template.HTMLEscapeString(p.name)+"</code> ("+string(typePhrase(p.value))+")")
	}
	return strings.Join(parts, ", ")
}

// between says what bounds there are: "1 to 100", "at most 40", "at least 1".
func between(least, most string) string {
	least, most = grouped(least), grouped(most)
	switch {
	case least != "" && most != "":
		return least + " to " + most
	case most != "":
		return "at most " + most
	case least != "":
		return "at least " + least
	}
	return ""
}

// grouped writes a whole number with a comma after each three digits, and a
// true minus.
func grouped(digits string) string {
	rest, negative := strings.CutPrefix(digits, "-")
	for i := len(rest) - 3; i > 0; i -= 3 {
		rest = rest[:i] + "," + rest[i:]
	}
	if negative {
		return "−" + rest
	}
	return rest
}

// who are the words of x-may for people.
var who = map[string]string{
	"anyone": "anyone, without a token", "setup": "whoever has the setup code", "member": "every member",
	"self": "the member", "owner": "whose it is", "steward": "stewards", "treasurer": "treasurers", "keeper": "keepers",
}

// mayPhrase says who may ask: "stewards and keepers".
func mayPhrase(may []string) string {
	words := make([]string, len(may))
	for i, m := range may {
		words[i] = who[m]
	}
	if n := len(words) - 1; n > 0 {
		return strings.Join(words[:n], ", ") + " and " + words[n]
	}
	return strings.Join(words, "")
}

// prose turns the contract's text into HTML: paragraphs parted by blank lines.
func prose(text string) template.HTML {
	var b strings.Builder
	for _, paragraph := range strings.Split(strings.TrimSpace(text), "\n\n") {
		b.WriteString("<p>" + string(inline(paragraph)) + "</p>\n")
	}
	return template.HTML(b.String())
}

var (
	apostrophe = regexp.MustCompile(`(\pL)'`)
	unit       = regexp.MustCompile(`(\d) (°C|mm²|mm|mL|MiB)`)
)

// inline turns a paragraph into HTML: **strong** words, `code`, and outside of
// code the apostrophes and spaces of print.
func inline(text string) template.HTML {
	var b strings.Builder
	for i, part := range strings.Split(text, "`") {
		escaped := template.HTMLEscapeString(part)
		if i%2 == 1 {
			b.WriteString("<code>" + escaped + "</code>")
			continue
		}
		escaped = template.HTMLEscapeString(unit.ReplaceAllString(apostrophe.ReplaceAllString(part, "$1’"), "$1\u00a0$2"))
		for j, word := range strings.Split(escaped, "**") {
			if j > 0 {
				b.WriteString([]string{"</strong>", "<strong>"}[j%2])
			}
			b.WriteString(word)
		}
	}
	return template.HTML(b.String())
}

// breakable lets a long snake_case name break after its underscores.
func breakable(name string) template.HTML {
	return template.HTML(strings.ReplaceAll(template.HTMLEscapeString(name), "_", "_<wbr>"))
}
