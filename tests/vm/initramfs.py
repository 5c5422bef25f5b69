"""The files of the guest as an archive that the kernel unpacks at boot (cpio, newc). Making it does not need root.

busybox, udev, the kernel's modules, the program and the libraries that these need.
"""

import glob
import lzma
import os
import pathlib
import re
import stat
import struct
import subprocess

LIBRARY = re.compile(r"\.so[.0-9]*$")

MODULES = ["xhci-pci", "usbserial", "ftdi_sio", "virtio_pci", "virtio_console", "virtio_blk", "ext4"]

# Named by number only where it is loaded.
MODULES_OF = {"ext4": ["crc32c_generic"]}

PASSWD = "root:x:0:0::/:/bin/sh\nbench:x:1000:1000::/tmp:/bin/sh\nvisitor:x:1001:1001::/tmp:/bin/sh\n"

BUSYBOX = ["busybox/bin/busybox", "busybox/usr/bin/busybox"]
UDEVADM = ["udev/bin/udevadm", "udev/usr/bin/udevadm"]
RULES = ["udev/lib/udev/rules.d", "udev/usr/lib/udev/rules.d"]

# Those that udev's rules name must exist.
GROUPS = ["kmem", "input", "video", "render", "sgx", "kvm", "lp", "audio", "cdrom", "tape"]
GROUP = "root:x:0:\ntty:x:5:\ndisk:x:6:\ndialout:x:20:bench\nbench:x:1000:\nvisitor:x:1001:\n" + "".join(
    f"{group}:x:{30 + at}:\n" for at, group in enumerate(GROUPS)
)


class Archive:
    """A cpio archive that is being made."""

    def __init__(self):
        self.parts = []
        self.names = set()
        self.folders = {""}

    def put(self, name, mode, data=b"", device=(0, 0)):
        name = name.strip("/")
        self.names.add(f"/{name}")
        self.folder(os.path.dirname(name))
        encoded = name.encode() + b"\0"
        numbers = [len(self.parts) + 1, mode, 0, 0, 1, 0, len(data), 0, 0, *device, len(encoded), 0]
        header = b"070701" + b"".join(b"%08x" % number for number in numbers) + encoded
        self.parts.append(header + bytes(-len(header) % 4) + data + bytes(-len(data) % 4))

    def folder(self, name):
        name = name.strip("/")
        if name not in self.folders:
            self.folders.add(name)
            self.put(name, stat.S_IFDIR | 0o755)

    def file(self, name, data, mode=0o644):
        self.put(name, stat.S_IFREG | mode, data)

    def link(self, name, target):
        self.put(name, stat.S_IFLNK | 0o777, target.encode())

    def finish(self):
        self.put("TRAILER!!!", 0)
        return b"".join(self.parts)


def build(cache, kernel_version, binary):
    """The archive's bytes. `cache` holds the unpacked packages of the kernel, busybox and udev."""
    archive = Archive()
    for folder in ["bin", "etc", "dev", "proc", "sys", "run", "tmp", "mnt", "lib", "lib64"]:
        archive.folder(folder)
    for name, target in [("sbin", "bin"), ("usr/bin", "../bin"), ("usr/sbin", "../bin"), ("usr/lib", "../lib")]:
        archive.link(name, target)
    archive.folders |= {"usr/bin", "usr/sbin", "usr/lib"}
    archive.put("dev/console", stat.S_IFCHR | 0o600, device=(5, 1))
    here = pathlib.Path(__file__).parent
    archive.file("init", (here / "guest/init").read_bytes(), 0o755)
    archive.file("etc/passwd", PASSWD.encode())
    archive.file("etc/group", GROUP.encode())
    put_busybox(archive, first_of(cache, BUSYBOX))
    put_modules(archive, f"{cache}/kernel", kernel_version)
    put_program(archive, "bin/udevadm", first_of(cache, UDEVADM), f"{cache}/udev")
    archive.link("lib/systemd/systemd-udevd", "/bin/udevadm")
    for path in glob.glob(f"{first_of(cache, RULES)}/*.rules"):
        archive.file(f"lib/udev/rules.d/{os.path.basename(path)}", pathlib.Path(path).read_bytes())
    put_program(archive, "bin/tallyjaw", binary, f"{cache}/udev")
    return archive.finish()


def first_of(cache, paths):
    """Debian moves its files from /bin to /usr/bin."""
    return next(f"{cache}/{path}" for path in paths if os.path.exists(f"{cache}/{path}"))


def put_busybox(archive, path):
    """Alone: the guest makes the links to it, since it may be a program that does not run here."""
    archive.file("bin/busybox", pathlib.Path(path).read_bytes(), 0o755)


def put_program(archive, name, path, unpacked):
    """A program and the libraries that it needs: those that were unpacked with it, or this machine's."""
    archive.file(name, pathlib.Path(path).read_bytes(), 0o755)
    beside = {os.path.basename(path): path for path in glob.glob(f"{unpacked}/**/*.so*", recursive=True) if LIBRARY.search(path)}
    if beside:
        put_libraries(archive, path, beside)
        return
    said = subprocess.run(["ldd", path], capture_output=True, text=True, check=False).stdout
    for word in said.split():
        target = word.removeprefix("/usr")
        if word.startswith("/") and target not in archive.names:
            archive.file(target, pathlib.Path(word).read_bytes(), 0o755)


def put_libraries(archive, path, beside):
    """What a program of another architecture asks the loader for, and the loader: all in /lib, where it looks too."""
    said = subprocess.run(["readelf", "--dynamic", "--program-headers", path], capture_output=True, text=True, check=True).stdout
    for name in re.findall(r"(?:Shared library: \[|interpreter: /lib/)([^]\s]+)", said):
        if f"/lib/{name}" not in archive.names:
            archive.file(f"lib/{name}", pathlib.Path(beside[name]).read_bytes(), 0o755)
            put_libraries(archive, beside[name], beside)


def put_modules(archive, kernel, version):
    base = first_of(kernel, [f"lib/modules/{version}", f"usr/lib/modules/{version}"])
    needs = {}
    for line in pathlib.Path(f"{base}/modules.dep").read_text().splitlines():
        module, others = line.split(":")
        needs[module] = others.split()
    by_name = {os.path.basename(path).split(".ko")[0].replace("-", "_"): path for path in needs}
    order = []

    def add(path):
        for other in reversed(needs[path]):
            add(other)
        if path not in order:
            order.append(path)

    for module in MODULES:
        for name in [*MODULES_OF.get(module, []), module]:
            path = by_name.get(name.replace("-", "_"))
            if path:  # else it is built in
                add(path)
    for path in order:
        module = pathlib.Path(f"{base}/{path}").read_bytes()
        archive.file(f"lib/modules/{path}", lzma.decompress(module) if path.endswith(".xz") else module)
    archive.file("etc/modules.list", "".join(f"/lib/modules/{path}\n" for path in order).encode())


def kernel_image(cache, version):
    """The kernel, unpacked once: an emulated processor takes seconds to do that at each boot."""
    unpacked = pathlib.Path(f"{cache}/kernel/vmlinux-{version}")
    packed = pathlib.Path(f"{cache}/kernel/boot/vmlinuz-{version}")
    if not unpacked.exists():
        image = packed.read_bytes()
        if image[0x202:0x206] != b"HdrS":
            return packed  # not of x86
        start = (image[0x1F1] + 1) * 512 + struct.unpack_from("<I", image, 0x248)[0]
        try:
            kernel = lzma.LZMADecompressor(lzma.FORMAT_XZ).decompress(image[start:])
        except lzma.LZMAError:
            return packed  # packed otherwise: it boots as it is, only slower
        if kernel[:4] != b"\x7fELF":
            return packed
        unpacked.write_bytes(kernel)
    return unpacked
