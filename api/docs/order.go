package docs

import (
	"cmp"
	"slices"

	"go.yaml.in/yaml/v4"
)

// at gives the node under the keys, or nil.
func at(n *yaml.Node, keys ...string) *yaml.Node {
	n = content(n)
	for _, key := range keys {
		n = content(member(n, key))
	}
	return n
}

// content follows aliases, and a document to what it holds.
func content(n *yaml.Node) *yaml.Node {
	for n != nil {
		switch {
		case n.Kind == yaml.AliasNode:
			n = n.Alias
		case n.Kind == yaml.DocumentNode && len(n.Content) > 0:
			n = n.Content[0]
		default:
			return n
		}
	}
	return nil
}

const mergeKey = "<<"

func member(n *yaml.Node, key string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	var merged *yaml.Node
	for i := 0; i+1 < len(n.Content); i += 2 {
		switch n.Content[i].Value {
		case key:
			return n.Content[i+1]
		case mergeKey:
			if found := member(content(n.Content[i+1]), key); found != nil {
				merged = found
			}
		}
	}
	return merged
}

// keys gives the keys of a mapping in the order in which they are written,
// merged ones where they are merged.
func keys(n *yaml.Node) []string {
	n = content(n)
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	var out []string
	add := func(key string) {
		if !slices.Contains(out, key) {
			out = append(out, key)
		}
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value != mergeKey {
			add(n.Content[i].Value)
			continue
		}
		for _, key := range keys(n.Content[i+1]) {
			add(key)
		}
	}
	return out
}

// inOrder sorts names as they stand in order; those it lacks follow by name.
func inOrder(names, order []string) []string {
	rank := make(map[string]int, len(order))
	for i, name := range order {
		rank[name] = i + 1
	}
	slices.SortFunc(names, func(a, b string) int {
		ra, rb := rank[a], rank[b]
		switch {
		case ra == 0 && rb == 0:
			return cmp.Compare(a, b)
		case ra == 0 || rb == 0:
			return rb - ra // the one that has a place comes first
		default:
			return ra - rb
		}
	})
	return names
}
