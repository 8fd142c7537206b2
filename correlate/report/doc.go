// Package report turns a harvest correlation into a page and pictures that can be
// read offline, printed and mailed.
package report
