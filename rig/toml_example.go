package rig

import _ "embed"

//go:embed example.toml
var exampleBench string

// ExampleBench returns the text of a commented bench file: the leg fore-left of a six-legged
// greenhouse scout with a direct yaw joint and belted hip and knee. Its values are invented.
func ExampleBench() string { return exampleBench }
