// Package answer words what a trial answers as one grower would tell another: a few
// sentences on the whole of it, a few lines on each outcome. It claims what results
// may be told as and no more; package sentences words each result in full.
package answer
