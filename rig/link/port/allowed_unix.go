//go:build unix

package port

import (
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// permissionHint says who may open a port, as the system has it: nearly always a group that one has to
// be put into once.
func permissionHint(path string) string {
	const again = "then log out and in again, since groups are read at log-in"
	info, err := os.Stat(path)
	if err != nil {
		return "let yourself into the group that owns it (often dialout or uucp), " + again
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || info.Mode().Perm()&0o060 != 0o060 {
		return fmt.Sprintf("its mode is %v: only its owner may open it; look who made it so, or run as that user", fs.FileMode.Perm(info.Mode()))
	}
	name := strconv.FormatUint(uint64(st.Gid), 10)
	if g, err := user.LookupGroupId(name); err == nil {
		name = g.Name
	}
	if name == "root" {
		return "it belongs to group root, which is no group to be in: a rule of the device manager gives boards to a group such as dialout"
	}
	return fmt.Sprintf("it belongs to group %s; \"sudo usermod -aG %s $USER\" lets you in on Linux, %s", name, name, again)
}
