/* A disk that refuses, for the process it is preloaded into: what would be written under the folder COACH_DISK_UNDER fails
 * with the error number COACH_DISK_ERROR (28: full; 5: the disk fails), and reading goes on. With COACH_DISK_WHEN only
 * while a file of that name exists, so that a test can fill the disk and empty it again under a running program. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

/* The error number for this open file, 0 where it may be written. Files alone: a terminal or pipe is no disk. */
static int refused(int fd) {
    const char *under = getenv("COACH_DISK_UNDER"), *number = getenv("COACH_DISK_ERROR"), *when = getenv("COACH_DISK_WHEN");
    char link[64], path[PATH_MAX];
    if (!under || !*under || (when && *when && access(when, F_OK) != 0)) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0) return 0;
    path[length] = 0;
    size_t wide = strlen(under);
    if (strncmp(path, under, wide) != 0 || (path[wide] != '/' && path[wide] != 0)) return 0;
    return number ? atoi(number) : ENOSPC;
}

#define REFUSED(fd, back)                    \
    do {                                     \
        int kept = errno, code = refused(fd); \
        errno = kept;                        \
        if (code) { errno = code; return (back); } \
    } while (0)
#define REAL(type, name, ...)                \
    static type (*real)(__VA_ARGS__);        \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

ssize_t write(int fd, const void *from, size_t count) {
    REAL(ssize_t, "write", int, const void *, size_t);
    REFUSED(fd, -1);
    return real(fd, from, count);
}
ssize_t writev(int fd, const struct iovec *parts, int count) {
    REAL(ssize_t, "writev", int, const struct iovec *, int);
    REFUSED(fd, -1);
    return real(fd, parts, count);
}
ssize_t pwrite(int fd, const void *from, size_t count, off_t at) {
    REAL(ssize_t, "pwrite", int, const void *, size_t, off_t);
    REFUSED(fd, -1);
    return real(fd, from, count, at);
}
ssize_t pwrite64(int fd, const void *from, size_t count, off64_t at) {
    REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
    REFUSED(fd, -1);
    return real(fd, from, count, at);
}
int ftruncate(int fd, off_t length) {
    REAL(int, "ftruncate", int, off_t);
    REFUSED(fd, -1);
    return real(fd, length);
}
int ftruncate64(int fd, off64_t length) {
    REAL(int, "ftruncate64", int, off64_t);
    REFUSED(fd, -1);
    return real(fd, length);
}
int fallocate(int fd, int mode, off_t at, off_t length) {
    REAL(int, "fallocate", int, int, off_t, off_t);
    REFUSED(fd, -1);
    return real(fd, mode, at, length);
}
int fallocate64(int fd, int mode, off64_t at, off64_t length) {
    REAL(int, "fallocate64", int, int, off64_t, off64_t);
    REFUSED(fd, -1);
    return real(fd, mode, at, length);
}
int posix_fallocate(int fd, off_t at, off_t length) {
    REAL(int, "posix_fallocate", int, off_t, off_t);
    int code = refused(fd);
    return code ? code : real(fd, at, length);
}
int posix_fallocate64(int fd, off64_t at, off64_t length) {
    REAL(int, "posix_fallocate64", int, off64_t, off64_t);
    int code = refused(fd);
    return code ? code : real(fd, at, length);
}
/* A folder needs room as well. */
int mkdir(const char *path, mode_t mode) {
    REAL(int, "mkdir", const char *, mode_t);
    const char *under = getenv("COACH_DISK_UNDER"), *number = getenv("COACH_DISK_ERROR"), *when = getenv("COACH_DISK_WHEN");
    int on = under && *under && !(when && *when && access(when, F_OK) != 0);
    size_t wide = on ? strlen(under) : 0;
    if (on && strncmp(path, under, wide) == 0 && (path[wide] == '/' || path[wide] == 0)) {
        errno = number ? atoi(number) : ENOSPC;
        return -1;
    }
    return real(path, mode);
}
