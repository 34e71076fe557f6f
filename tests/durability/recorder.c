/* Put between a program and the C library (LD_PRELOAD): writes down, in order, what it does to the files of one folder
 * and what it says on standard output. RECORD_FOLDER and RECORD_LOG name the folder and the record; SYNC_DELAY_MS makes
 * every sync of the folder's files take that much longer, as on a slow disk.
 *
 * A record is a line, `W NAME OFFSET LENGTH` and LENGTH bytes, `T NAME SIZE` (truncated), `S NAME` (a sync returned),
 * `U NAME` (removed) or `A LENGTH` and LENGTH bytes (announced). Not for programs with several writing threads.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

#define REAL(name, result, ...) ((result(*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))

static int record = -1;

static void put(const char *head, const void *data, size_t length) {
    if (record < 0) {
        const char *path = getenv("RECORD_LOG");
        if (!path) return;
        record = (int)syscall(SYS_openat, AT_FDCWD, path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    }
    syscall(SYS_write, record, head, strlen(head));
    if (length) syscall(SYS_write, record, data, length);
}

/* The file's name within the folder, or NULL where it is none of ours. */
static const char *within(const char *path) {
    const char *folder = getenv("RECORD_FOLDER");
    size_t n = folder ? strlen(folder) : 0;
    if (!n || strncmp(path, folder, n) || path[n] != '/') return NULL;
    const char *name = path + n + 1;
    size_t length = strlen(name);
    return length > 4 && !strcmp(name + length - 4, "-shm") ? NULL : name;
}

static const char *named(int fd, char *space, size_t size) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, space, size - 1);
    if (n < 0) return NULL;
    space[n] = 0;
    return within(space);
}

static void written(int fd, const void *data, size_t length, off64_t offset) {
    char space[4096], head[4200];
    const char *name = named(fd, space, sizeof space);
    if (!name) return;
    snprintf(head, sizeof head, "W %s %lld %zu\n", name, (long long)offset, length);
    put(head, data, length);
}

ssize_t write(int fd, const void *data, size_t length) {
    if (fd == 1) {
        char head[64];
        snprintf(head, sizeof head, "A %zu\n", length);
        put(head, data, length);
    } else if (fd != record) {
        written(fd, data, length, lseek64(fd, 0, SEEK_CUR));
    }
    return REAL("write", ssize_t, int, const void *, size_t)(fd, data, length);
}

ssize_t pwrite64(int fd, const void *data, size_t length, off64_t offset) {
    written(fd, data, length, offset);
    return REAL("pwrite64", ssize_t, int, const void *, size_t, off64_t)(fd, data, length, offset);
}

ssize_t pwrite(int fd, const void *data, size_t length, off_t offset) { return pwrite64(fd, data, length, offset); }

int ftruncate64(int fd, off64_t size) {
    char space[4096], head[4200];
    const char *name = named(fd, space, sizeof space);
    if (name) {
        snprintf(head, sizeof head, "T %s %lld\n", name, (long long)size);
        put(head, NULL, 0);
    }
    return REAL("ftruncate64", int, int, off64_t)(fd, size);
}

int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

static int synced(int fd, const char *call) {
    char space[4096], head[4200];
    const char *name = named(fd, space, sizeof space), *delay = getenv("SYNC_DELAY_MS");
    if (name && delay) usleep((useconds_t)(atof(delay) * 1000));
    int result = REAL(call, int, int)(fd);
    if (name && !result) {
        snprintf(head, sizeof head, "S %s\n", name);
        put(head, NULL, 0);
    }
    return result;
}

int fsync(int fd) { return synced(fd, "fsync"); }

int fdatasync(int fd) { return synced(fd, "fdatasync"); }

int unlink(const char *path) {
    const char *name = within(path);
    if (name) {
        char head[4200];
        snprintf(head, sizeof head, "U %s\n", name);
        put(head, NULL, 0);
    }
    return REAL("unlink", int, const char *)(path);
}
