package lossyfs

import (
	"context"
	"errors"
	"os"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// Mount is a disk that stands at a folder.
type Mount struct {
	server *fuse.Server
	path   string
}

// Mount puts the disk at the folder path, which must be there. It fails where
// FUSE is missing or this user may not mount.
func (d *Disk) Mount(path string) (*Mount, error) {
	if _, err := os.Stat("/dev/fuse"); err != nil {
		return nil, err
	}
	server, err := fs.Mount(path, &folder{disk: d}, &fs.Options{MountOptions: fuse.MountOptions{
		DirectMountStrict: true, FsName: "lossyfs", Name: "lossyfs", DisableXAttrs: true,
	}})
	if err != nil {
		return nil, err
	}
	return &Mount{server, path}, nil
}

// Close takes the disk away, also while a process still uses it.
func (m *Mount) Close() error {
	err := syscall.Unmount(m.path, syscall.MNT_DETACH)
	if errors.Is(err, syscall.EINVAL) {
		return nil // gone already
	}
	return err
}

// folder is the root.
type folder struct {
	fs.Inode
	disk *Disk
}

// node is one file of the folder.
type node struct {
	fs.Inode
	disk *Disk
	file *file
}

var (
	_ fs.NodeLookuper  = (*folder)(nil)
	_ fs.NodeCreater   = (*folder)(nil)
	_ fs.NodeUnlinker  = (*folder)(nil)
	_ fs.NodeRenamer   = (*folder)(nil)
	_ fs.NodeFsyncer   = (*folder)(nil)
	_ fs.NodeReaddirer = (*folder)(nil)
	_ fs.NodeStatfser  = (*folder)(nil)
	_ fs.NodeOpener    = (*node)(nil)
	_ fs.NodeReader    = (*node)(nil)
	_ fs.NodeWriter    = (*node)(nil)
	_ fs.NodeFsyncer   = (*node)(nil)
	_ fs.NodeGetattrer = (*node)(nil)
	_ fs.NodeSetattrer = (*node)(nil)
)

// child returns the node of a file. The lock is held.
func (r *folder) child(ctx context.Context, f *file, out *fuse.EntryOut) *fs.Inode {
	f.attr(&out.Attr)
	return r.NewInode(ctx, &node{disk: r.disk, file: f}, fs.StableAttr{Mode: syscall.S_IFREG, Ino: f.id})
}

func (f *file) attr(out *fuse.Attr) {
	out.Mode, out.Size, out.Ino, out.Nlink = syscall.S_IFREG|f.mode, uint64(len(f.live)), f.id, 1
	out.Blksize, out.Blocks = 4096, (out.Size+511)/512
	out.Owner = fuse.Owner{Uid: uint32(os.Getuid()), Gid: uint32(os.Getgid())}
}

// Lookup finds a file.
func (r *folder) Lookup(ctx context.Context, name string, out *fuse.EntryOut) (*fs.Inode, syscall.Errno) {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	f := r.disk.names[name]
	if r.disk.off {
		return nil, syscall.EIO
	}
	if f == nil {
		return nil, syscall.ENOENT
	}
	return r.child(ctx, f, out), 0
}

// Create makes a file.
func (r *folder) Create(ctx context.Context, name string, _, mode uint32, out *fuse.EntryOut) (*fs.Inode, fs.FileHandle, uint32, syscall.Errno) {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	if e := r.disk.allow(Create, name); e != 0 {
		return nil, nil, 0, e
	}
	f := r.disk.newFile(mode & 0o777)
	r.disk.change(change{name: f})
	return r.child(ctx, f, out), nil, 0, 0
}

// Unlink removes a name.
func (r *folder) Unlink(_ context.Context, name string) syscall.Errno {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	if e := r.disk.allow(Remove, name); e != 0 {
		return e
	}
	r.disk.change(change{name: nil})
	return 0
}

// Rename gives a file another name, in the place of the one that has it.
func (r *folder) Rename(_ context.Context, name string, _ fs.InodeEmbedder, newName string, _ uint32) syscall.Errno {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	if e := r.disk.allow(Rename, name); e != 0 {
		return e
	}
	r.disk.change(change{name: nil, newName: r.disk.names[name]})
	return 0
}

// Fsync makes the names durable.
func (r *folder) Fsync(context.Context, fs.FileHandle, uint32) syscall.Errno { return r.disk.syncDir() }

// Readdir lists the files.
func (r *folder) Readdir(context.Context) (fs.DirStream, syscall.Errno) {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	var list []fuse.DirEntry
	for name, f := range r.disk.names {
		list = append(list, fuse.DirEntry{Name: name, Mode: syscall.S_IFREG, Ino: f.id})
	}
	return fs.NewListDirStream(list), 0
}

// Statfs tells the free space.
func (r *folder) Statfs(_ context.Context, out *fuse.StatfsOut) syscall.Errno {
	r.disk.mu.Lock()
	defer r.disk.mu.Unlock()
	size := r.disk.size
	if size == 0 {
		size = 1 << 34 // chosen: plenty
	}
	out.Bsize, out.Frsize, out.NameLen = 4096, 4096, 255
	out.Blocks = uint64(size) / 4096
	out.Bfree = uint64(max(0, size-r.disk.used())) / 4096
	out.Bavail = out.Bfree
	return 0
}

// Open opens a file.
func (n *node) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) { return nil, 0, 0 }

// Read reads what was written, synced or not.
func (n *node) Read(_ context.Context, _ fs.FileHandle, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	if n.disk.off {
		return nil, syscall.EIO
	}
	if off >= int64(len(n.file.live)) {
		return fuse.ReadResultData(nil), 0
	}
	return fuse.ReadResultData(dest[:copy(dest, n.file.live[off:])]), 0
}

// Write writes.
func (n *node) Write(_ context.Context, _ fs.FileHandle, data []byte, off int64) (uint32, syscall.Errno) {
	if e := n.disk.write(n.file, data, off); e != 0 {
		return 0, e
	}
	return uint32(len(data)), 0
}

// Fsync makes the content durable, but not the name.
func (n *node) Fsync(context.Context, fs.FileHandle, uint32) syscall.Errno {
	return n.disk.sync(n.file)
}

// Getattr tells the size.
func (n *node) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	if n.disk.off {
		return syscall.EIO
	}
	n.file.attr(&out.Attr)
	return 0
}

// Setattr cuts or stretches a file.
func (n *node) Setattr(_ context.Context, _ fs.FileHandle, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	if size, ok := in.GetSize(); ok {
		if e := n.disk.truncate(n.file, int64(size)); e != 0 {
			return e
		}
	}
	n.disk.mu.Lock()
	defer n.disk.mu.Unlock()
	if mode, ok := in.GetMode(); ok {
		n.file.mode = mode & 0o777
	}
	n.file.attr(&out.Attr)
	return 0
}
