// Package link holds one conversation with one stand over any io.ReadWriteCloser.
//
// Conn speaks the frames of firmware-protocol/SPEC.md: it says hello, sets the joints up, keeps
// the heartbeat going, arms, queues moves and hands over what the stand measures. Text only
// listens to a stand that prints lines. Both are a Feed, which is all that recording needs.
//
// Samples come as rig.Batch, one per joint, in device time (us since the stand's power-up,
// unwrapped over its 32 bits). Losses are counted, never smoothed over.
//
// A conversation is made of three goroutines that end with Close, which waits for them: one
// reads, one writes (a write to a line whose other end is gone may block for ever, so nobody else
// may do it), one keeps the heartbeat. All methods may be called from any goroutine.
//
// Stopping by software is a convenience and no safety device: see SPEC.md.
package link
