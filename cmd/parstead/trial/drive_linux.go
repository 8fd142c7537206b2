package trial

import "golang.org/x/sys/unix"

// networkDrive names the kind of a file system that is reached over a network
// or through another program; "" for a disk of this machine.
func networkDrive(dir string) string {
	var s unix.Statfs_t
	if unix.Statfs(dir, &s) != nil {
		return ""
	}
	switch uint32(s.Type) { //nolint:unconvert // the field's size differs between processors
	case unix.NFS_SUPER_MAGIC:
		return "NFS"
	case unix.CIFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC:
		return "SMB"
	case unix.FUSE_SUPER_MAGIC:
		return "FUSE"
	case unix.V9FS_MAGIC:
		return "9P"
	case unix.CEPH_SUPER_MAGIC:
		return "Ceph"
	case unix.AFS_SUPER_MAGIC, unix.AFS_FS_MAGIC:
		return "AFS"
	case unix.CODA_SUPER_MAGIC:
		return "Coda"
	}
	return ""
}
