/* A disk that fails when it is told to, and says all that it was asked: preloaded (ld.so(8), LD_PRELOAD) into a relay.
 *
 * Concerned are the files below one folder. `disk_arm` lets calls of a kind fail from the n-th one on; `disk_trace`
 * writes every call that changed something to a descriptor, in the order in which they were done: one lock is held
 * over a call and its line. A failed write or sync reaches no disk; a short write is one of which half does, and where an
 * error is given with it, that is what the next calls come to, as on a disk that fills up (write(2)). SQLite's memory beside a journal (`-shm`), which
 * it maps, is let through and isn't told of.
 *
 * A line of the trace: "<cQQII", what, inode, number, two lengths; then two texts.
 *   O opened (1: made, 2: emptied) path   W written at, bytes   T cut to   S synced, path   X sync failed
 *   R renamed from, to   L linked from, to   U unlinked   M folder made   N a note of whoever drives
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { ROOM = 1, SYNC = 2, SHORT = 3, KINDS = 4 };

static pthread_mutex_t lock = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;
static char root[PATH_MAX];
static int trace = -1;
static long calls[KINDS];
static struct { long first, last; int error; } armed[KINDS];

#define REAL(name) ((__typeof__(&name))real(#name))

static void *real(const char *name) {
    return dlsym(RTLD_NEXT, name);
}

/* From outside: which folder; what fails; how often it was asked; where to tell. */
void disk_watch(const char *folder) { snprintf(root, sizeof root, "%s/", folder); }
void disk_arm(int kind, long first, long count, int error) {
    pthread_mutex_lock(&lock);
    if (first) calls[kind] = 0;
    armed[kind].first = first;
    armed[kind].last = first + count - 1;
    armed[kind].error = error;
    pthread_mutex_unlock(&lock);
}
long disk_calls(int kind) { return calls[kind]; }
void disk_trace(int descriptor) { trace = descriptor; }

static int below(const char *path) {
    size_t length = strlen(path), upto = strlen(root);
    if (!upto || strncmp(path, root, length + 1 == upto ? length : upto) != 0) return 0;
    return !(length > 4 && strcmp(path + length - 4, "-shm") == 0);
}

static int absolute(const char *path, char *out) {
    char folder[PATH_MAX];
    if (path[0] == '/') return snprintf(out, PATH_MAX, "%s", path) < PATH_MAX;
    return getcwd(folder, sizeof folder) && snprintf(out, PATH_MAX, "%s/%s", folder, path) < PATH_MAX;
}

static int named(int descriptor, char *path) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    ssize_t length = root[0] ? readlink(link, path, PATH_MAX - 1) : -1;
    if (length < 0) return 0;
    path[length] = 0;
    return below(path);
}

static int fails(int kind) {
    long now = ++calls[kind];
    if (!armed[kind].first || now < armed[kind].first || now > armed[kind].last) return 0;
    errno = armed[kind].error;
    return 1;
}

/* How much of a write is done: half of the armed one, and once alone, for what follows is a disk without room. */
static size_t shortened(size_t length) {
    if (length < 2) return length;
    long now = ++calls[SHORT];
    if (!armed[SHORT].first || now != armed[SHORT].first) return length;
    if (armed[SHORT].error) {
        armed[ROOM].first = calls[ROOM] + 1;
        armed[ROOM].last = calls[ROOM] + 1 + armed[SHORT].last - armed[SHORT].first;
        armed[ROOM].error = armed[SHORT].error;
    }
    return length / 2;
}

static void all(const void *data, size_t length) {
    const char *at = data;
    while (length) {
        ssize_t done = REAL(write)(trace, at, length);
        if (done <= 0) return;
        at += done, length -= (size_t)done;
    }
}

static void tell(char what, uint64_t inode, uint64_t number, const void *one, size_t len1, const void *two,
                 size_t len2) {
    if (trace < 0) return;
    struct __attribute__((packed)) { char what; uint64_t inode, number; uint32_t len1, len2; } head = {
        what, inode, number, (uint32_t)len1, (uint32_t)len2};
    int before = errno;
    all(&head, sizeof head), all(one, len1), all(two, len2);
    errno = before;
}

void disk_note(const void *data, size_t length) {
    pthread_mutex_lock(&lock);
    tell('N', 0, 0, data, length, "", 0);
    pthread_mutex_unlock(&lock);
}

static uint64_t inode_of(int descriptor) {
    struct stat found;
    return fstat(descriptor, &found) ? 0 : found.st_ino;
}

static int opened(const char *path, int flags, mode_t mode) {
    char whole[PATH_MAX];
    struct stat before;
    int (*open_)(const char *, int, ...) = real("open64");
    if (!absolute(path, whole) || !below(whole)) return open_(path, flags, mode);
    pthread_mutex_lock(&lock);
    int there = !lstat(whole, &before), makes = (flags & O_CREAT) && !there;
    int got = makes && fails(ROOM) ? -1 : open_(path, flags, mode);
    if (got >= 0) {
        int how = makes ? 1 : (flags & O_TRUNC) ? 2 : 0;
        tell('O', inode_of(got), (uint64_t)how, whole, strlen(whole), "", 0);
    }
    pthread_mutex_unlock(&lock);
    return got;
}

#define OPEN(name)                                          \
    int name(const char *path, int flags, ...) {            \
        va_list more;                                       \
        va_start(more, flags);                              \
        mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0; \
        va_end(more);                                       \
        return opened(path, flags, mode);                   \
    }
OPEN(open)
OPEN(open64)

/* A write of `length` at `at`, -1: where the descriptor stands. */
static ssize_t written(int descriptor, const void *data, size_t length, off64_t at) {
    char path[PATH_MAX];
    ssize_t (*here)(int, const void *, size_t) = real("write");
    ssize_t (*there)(int, const void *, size_t, off64_t) = real("pwrite64");
    if (!named(descriptor, path)) return at < 0 ? here(descriptor, data, length) : there(descriptor, data, length, at);
    pthread_mutex_lock(&lock);
    ssize_t done = -1;
    if (!fails(ROOM)) {
        off64_t from = at;
        length = shortened(length);
        if (at < 0) {
            int appends = fcntl(descriptor, F_GETFL) & O_APPEND;
            from = lseek64(descriptor, 0, appends ? SEEK_END : SEEK_CUR);
        }
        done = at < 0 ? here(descriptor, data, length) : there(descriptor, data, length, at);
        if (done > 0) tell('W', inode_of(descriptor), (uint64_t)from, data, (size_t)done, "", 0);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

ssize_t write(int descriptor, const void *data, size_t length) { return written(descriptor, data, length, -1); }
ssize_t pwrite(int descriptor, const void *data, size_t length, off_t at) {
    return written(descriptor, data, length, at);
}
ssize_t pwrite64(int descriptor, const void *data, size_t length, off64_t at) {
    return written(descriptor, data, length, at);
}

static int synced(int descriptor, int (*sync_)(int)) {
    char path[PATH_MAX];
    if (!named(descriptor, path)) return sync_(descriptor);
    pthread_mutex_lock(&lock);
    int bad = fails(SYNC) ? -1 : sync_(descriptor);
    tell(bad ? 'X' : 'S', inode_of(descriptor), 0, path, strlen(path), "", 0);
    pthread_mutex_unlock(&lock);
    return bad;
}
int fsync(int descriptor) { return synced(descriptor, REAL(fsync)); }
int fdatasync(int descriptor) { return synced(descriptor, REAL(fdatasync)); }

static int cut(int descriptor, off64_t size) {
    char path[PATH_MAX];
    int (*cut_)(int, off64_t) = real("ftruncate64");
    if (!named(descriptor, path)) return cut_(descriptor, size);
    pthread_mutex_lock(&lock);
    struct stat before;
    int grows = !fstat(descriptor, &before) && size > before.st_size;
    int bad = grows && fails(ROOM) ? -1 : cut_(descriptor, size);
    if (!bad) tell('T', inode_of(descriptor), (uint64_t)size, "", 0, "", 0);
    pthread_mutex_unlock(&lock);
    return bad;
}
int ftruncate(int descriptor, off_t size) { return cut(descriptor, size); }
int ftruncate64(int descriptor, off64_t size) { return cut(descriptor, size); }

static int cut_named(const char *path, off64_t size) {
    int descriptor = opened(path, O_WRONLY, 0);
    if (descriptor < 0) return -1;
    int bad = cut(descriptor, size);
    close(descriptor);
    return bad;
}
int truncate(const char *path, off_t size) { return cut_named(path, size); }
int truncate64(const char *path, off64_t size) { return cut_named(path, size); }

static int two(char what, const char *from, const char *to, int (*do_)(const char *, const char *)) {
    char one[PATH_MAX], other[PATH_MAX];
    if (!absolute(from, one) || !absolute(to, other) || !below(other)) return do_(from, to);
    pthread_mutex_lock(&lock);
    int bad = fails(ROOM) ? -1 : do_(from, to);
    if (!bad) tell(what, 0, 0, one, strlen(one), other, strlen(other));
    pthread_mutex_unlock(&lock);
    return bad;
}
int rename(const char *from, const char *to) { return two('R', from, to, REAL(rename)); }
int link(const char *from, const char *to) { return two('L', from, to, REAL(link)); }

int unlink(const char *path) {
    char whole[PATH_MAX];
    if (!absolute(path, whole) || !below(whole)) return REAL(unlink)(path);
    pthread_mutex_lock(&lock);
    int bad = REAL(unlink)(path);
    if (!bad) tell('U', 0, 0, whole, strlen(whole), "", 0);
    pthread_mutex_unlock(&lock);
    return bad;
}

int mkdir(const char *path, mode_t mode) {
    char whole[PATH_MAX];
    struct stat before;
    if (!absolute(path, whole) || !below(whole) || !lstat(whole, &before)) return REAL(mkdir)(path, mode);
    pthread_mutex_lock(&lock);
    int bad = fails(ROOM) ? -1 : REAL(mkdir)(path, mode);
    if (!bad) tell('M', 0, 0, whole, strlen(whole), "", 0);
    pthread_mutex_unlock(&lock);
    return bad;
}
