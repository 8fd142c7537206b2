// Package store keeps a trial's raw readings and its log on disk, in one bbolt
// file that one process holds at a time.
package store
