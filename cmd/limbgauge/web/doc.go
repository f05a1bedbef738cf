// Package web is the local page of a bench: what its stand does now, what its runs said, and how
// that changed. It shows what other packages answer and computes nothing of its own.
//
// HTML comes finished from the server; a little script moves what moves. Pages load nothing from
// outside this program.
//
// What holds whatever a browser does: only requests of our own pages change anything (guard); a
// joint moves only while the page that armed it is there (motion); watching never holds a session
// up, and a page that does not read costs nothing but its own news (hub).
//
// A stop by software is a convenience and no safety device.
package web
