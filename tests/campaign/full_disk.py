"""A disk that is full or failing, for one folder and one process: a small library laid before the C library's writes.

Built once with the system's C compiler, into the folder for temporary files.
"""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import tempfile
import zlib
from pathlib import Path

_SOURCE = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

static long long left = -1;
static int trouble;
static char place[PATH_MAX];

__attribute__((constructor)) static void begin(void) {
    const char *folder = getenv("FULL_DISK_FOLDER");
    const char *bytes = getenv("FULL_DISK_BYTES"), *error = getenv("FULL_DISK_ERRNO");
    if (!folder || !bytes || !error || !realpath(folder, place)) return;
    trouble = atoi(error);
    left = atoll(bytes);
}

/* 1 where a write of so many bytes to this descriptor must fail. */
static int full(int fd, size_t count) {
    char link[64], path[PATH_MAX];
    struct stat about;
    if (left < 0 && !trouble) return 0;
    if (fstat(fd, &about) || !S_ISREG(about.st_mode)) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t size = readlink(link, path, sizeof path - 1);
    if (size < 0) return 0;
    path[size] = 0;
    if (strncmp(path, place, strlen(place))) return 0;
    long long rest = __atomic_sub_fetch(&left, (long long)count, __ATOMIC_SEQ_CST);
    if (rest >= 0) return 0;
    left = 0;
    errno = trouble;
    return 1;
}

#define LAID(kind, name, head, call, count) \
    kind name head { \
        static kind (*real) head; \
        if (!real) real = dlsym(RTLD_NEXT, #name); \
        return full(fd, count) ? (kind)-1 : real call; \
    }

LAID(ssize_t, write, (int fd, const void *b, size_t n), (fd, b, n), n)
LAID(ssize_t, pwrite, (int fd, const void *b, size_t n, off_t at), (fd, b, n, at), n)
LAID(ssize_t, pwrite64, (int fd, const void *b, size_t n, off64_t at), (fd, b, n, at), n)
LAID(ssize_t, writev, (int fd, const struct iovec *b, int n), (fd, b, n), b->iov_len)

int posix_fallocate(int fd, off_t at, off_t n) {
    static int (*real)(int, off_t, off_t);
    if (!real) real = dlsym(RTLD_NEXT, "posix_fallocate");
    return full(fd, n) ? trouble : real(fd, at, n);
}
"""


def environment(folder: Path, after_bytes: int = 0, error: str = "ENOSPC") -> dict[str, str]:
    """What to put into a program's environment so that writes to files in `folder` fail with `error` (a name of errno)
    once `after_bytes` were written there. Raises FileNotFoundError without a C compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        raise FileNotFoundError("missing tool: cc")
    library = Path(tempfile.gettempdir()) / f"coach-full-disk-{os.getuid()}-{zlib.crc32(_SOURCE.encode()):x}.so"
    if not library.exists():
        source = library.with_name(f"{library.stem}-{os.getpid()}.c")
        made = source.with_suffix(".so")
        source.write_text(_SOURCE)
        subprocess.run(
            [compiler, "-shared", "-fPIC", "-O1", "-o", made, source, "-ldl"], check=True, capture_output=True
        )
        source.unlink()
        os.replace(made, library)
    return {
        "LD_PRELOAD": str(library),
        "FULL_DISK_FOLDER": str(folder),
        "FULL_DISK_BYTES": str(after_bytes),
        "FULL_DISK_ERRNO": str(getattr(errno, error)),
    }
