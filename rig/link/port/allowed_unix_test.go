//go:build unix

package port

import (
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// The hint of a refused permission names the group that owns the port, as the system has it.
func TestPermissionHint(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	refused := func() string {
		return explain(path, 500000, &fs.PathError{Op: "open", Path: path, Err: syscall.EACCES}).Error()
	}
	if got := refused(); !strings.Contains(got, "no permission") || !strings.Contains(got, "-rw-------") {
		t.Errorf("for its owner only: %s", got)
	}
	if err := os.Chmod(path, 0o660); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() == 0 {
		// Only root can give a file to any group; who is not tests with his own.
		if g, err := user.LookupGroup("dialout"); err == nil {
			id, err := strconv.Atoi(g.Gid)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Chown(path, -1, id); err != nil {
				t.Fatal(err)
			}
			if got := refused(); !strings.Contains(got, "belongs to group dialout") || !strings.Contains(got, "usermod -aG dialout") {
				t.Errorf("of a group: %s", got)
			}
		}
		if err := os.Chown(path, -1, 0); err != nil {
			t.Fatal(err)
		}
		if got := refused(); !strings.Contains(got, "group root") {
			t.Errorf("of root: %s", got)
		}
	} else if got := refused(); !strings.Contains(got, "belongs to group ") {
		t.Errorf("of a group: %s", got)
	}
	if got := permissionHint(path + ".none"); !strings.Contains(got, "dialout") {
		t.Errorf("of what can not be looked at: %s", got)
	}
}
