//go:build !unix

package port

// permissionHint says what keeps a port from being opened where there are no groups.
func permissionHint(string) string {
	return "another program may have it open, or its driver wants an administrator: close what uses it, then plug the board in anew"
}
