package site

import (
	"bytes"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// rewrite turns a page into one that holds at any place: links to copied pages become
// relative, links and forms that need a server lead to the running one or go away, and
// the foot says when the copy was made.
func (c *copier) rewrite(p string, page []byte) ([]byte, error) {
	doc, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		return nil, fmt.Errorf("reading the page: %w", err)
	}
	var remove []*html.Node
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode && !c.element(p, n) {
			remove = append(remove, n)
			return
		}
		for k := n.FirstChild; k != nil; k = k.NextSibling {
			walk(k)
		}
		if n.DataAtom == atom.Footer {
			c.sign(n)
		}
	}
	walk(doc)
	for _, n := range remove {
		if n.DataAtom == atom.A && !controls(n) { // the words stay
			for k := n.FirstChild; k != nil; k = n.FirstChild {
				n.RemoveChild(k)
				n.Parent.InsertBefore(k, n)
			}
		}
		n.Parent.RemoveChild(n)
	}
	var b bytes.Buffer
	if err := html.Render(&b, doc); err != nil {
		return nil, fmt.Errorf("writing the page: %w", err)
	}
	return b.Bytes(), nil
}

// controls reports whether a link asks to do something: a button, an entry of the menu or
// another view. Without a server it goes away with its words.
func controls(n *html.Node) bool {
	return strings.Contains(attribute(n, "class"), "button") || attribute(n, "rel") != "" || n.Parent != nil && n.Parent.DataAtom == atom.Li || strings.HasPrefix(attribute(n, "href"), "/?units=")
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// element mends the addresses of an element; false: it goes away.
func (c *copier) element(p string, n *html.Node) bool {
	if n.DataAtom == atom.Form {
		if c.Live == "" || strings.EqualFold(attribute(n, "method"), "post") {
			return false
		}
		setAttribute(n, "action", c.live(attribute(n, "action")))
	}
	if n.DataAtom == atom.Link && attribute(n, "rel") == "manifest" { // an app needs a place of its own
		return false
	}
	for i := range n.Attr {
		a := &n.Attr[i]
		if a.Key != "href" && a.Key != "src" || a.Val == "" || strings.HasPrefix(a.Val, "#") {
			continue
		}
		u, err := url.Parse(a.Val)
		if err != nil || u.IsAbs() || u.Host != "" {
			continue
		}
		switch {
		case u.RawQuery == "" && c.copied(u.Path):
			c.want(u.Path)
			to, err := filepath.Rel(filepath.Dir("/"+fileOf(p)), "/"+fileOf(u.Path))
			if err != nil {
				return false
			}
			u.Path = filepath.ToSlash(to)
			a.Val = u.String()
		case c.Live != "":
			a.Val = c.live(a.Val)
		default:
			return false
		}
	}
	return true
}

func (c *copier) live(address string) string {
	return strings.TrimSuffix(c.Live, "/") + address
}

func setAttribute(n *html.Node, name, value string) {
	for i := range n.Attr {
		if n.Attr[i].Key == name {
			n.Attr[i].Val = value
			return
		}
	}
	n.Attr = append(n.Attr, html.Attribute{Key: name, Val: value})
}

// sign says in the foot when the copy was made.
func (c *copier) sign(foot *html.Node) {
	text := "This is a copy made at " + c.Now.UTC().Format("15:04 UTC on 2 January 2006") + ". A caution in it counts only until the time that it names; after that the level is unknown."
	if c.Live != "" {
		text += " Trips, email alerts and newer readings: " + c.Live + "."
	}
	p := &html.Node{Type: html.ElementNode, Data: "p", DataAtom: atom.P}
	p.AppendChild(&html.Node{Type: html.TextNode, Data: text})
	foot.AppendChild(p)
}
