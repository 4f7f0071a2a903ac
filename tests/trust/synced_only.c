/* Keeps a record of what a process writes to its database files, what it makes durable, and what it answers.
 *
 * Loaded before the C library (LD_PRELOAD). SYNCED_ONLY_TRACE names the record, SYNCED_ONLY_FILES what the names of the
 * files begin with. One entry: a letter (w written, t cut to a length, s synced, u removed, a answered), the length of
 * the name in two bytes, an offset and a length in eight bytes each, all in the machine's order; the name; the bytes.
 * An entry of a file is written after the deed, that of an answer before it: what stands before an answer was done before.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

#define ANSWER_MOST 1024

static pthread_mutex_t turn = PTHREAD_MUTEX_INITIALIZER;
static int record = -1;
static const char *files;

__attribute__((constructor)) static void begin(void)
{
    const char *name = getenv("SYNCED_ONLY_TRACE");
    files = getenv("SYNCED_ONLY_FILES");
    if (name && files)
        record = open(name, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static void all(const void *bytes, size_t length)
{
    const char *next = bytes;
    while (length > 0) {
        long done = syscall(SYS_write, record, next, length);
        if (done <= 0)
            abort();
        next += done;
        length -= (size_t)done;
    }
}

static void note(char what, const char *name, uint64_t at, const void *bytes, uint64_t length)
{
    int before = errno;
    uint16_t named = (uint16_t)strlen(name);
    pthread_mutex_lock(&turn);
    all(&what, 1);
    all(&named, sizeof named);
    all(&at, sizeof at);
    all(&length, sizeof length);
    all(name, named);
    if (bytes)
        all(bytes, length);
    pthread_mutex_unlock(&turn);
    errno = before;
}

/* The name of an open file, empty where it is none of the database. */
static const char *of(int fd, char *name, size_t most)
{
    char link[64];
    if (record < 0)
        return NULL;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, name, most - 1);
    if (length <= 0)
        return NULL;
    name[length] = 0;
    return name;
}

static int is_ours(const char *name)
{
    size_t length = strlen(name);
    int shared = length > 4 && strcmp(name + length - 4, "-shm") == 0;
    return strncmp(name, files, strlen(files)) == 0 && !shared;
}

static void written(int fd, uint64_t at, const void *bytes, ssize_t length)
{
    char name[4096];
    if (length > 0 && of(fd, name, sizeof name) && is_ours(name))
        note('w', name, at, bytes, (uint64_t)length);
}

static void answers(int fd, const void *bytes, size_t length)
{
    char name[4096];
    if (length > 0 && of(fd, name, sizeof name) && strncmp(name, "socket:", 7) == 0)
        note('a', "", 0, bytes, length < ANSWER_MOST ? length : ANSWER_MOST);
}

ssize_t write(int fd, const void *bytes, size_t length)
{
    static ssize_t (*real)(int, const void *, size_t);
    if (!real)
        real = dlsym(RTLD_NEXT, "write");
    answers(fd, bytes, length);
    off_t at = record < 0 ? 0 : lseek(fd, 0, SEEK_CUR);
    ssize_t done = real(fd, bytes, length);
    written(fd, (uint64_t)at, bytes, done);
    return done;
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t at)
{
    static ssize_t (*real)(int, const void *, size_t, off64_t);
    if (!real)
        real = dlsym(RTLD_NEXT, "pwrite64");
    ssize_t done = real(fd, bytes, length, at);
    written(fd, (uint64_t)at, bytes, done);
    return done;
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t at)
{
    return pwrite64(fd, bytes, length, at);
}

ssize_t writev(int fd, const struct iovec *parts, int many)
{
    static ssize_t (*real)(int, const struct iovec *, int);
    if (!real)
        real = dlsym(RTLD_NEXT, "writev");
    if (many > 0)
        answers(fd, parts[0].iov_base, parts[0].iov_len);
    return real(fd, parts, many);
}

ssize_t send(int fd, const void *bytes, size_t length, int flags)
{
    static ssize_t (*real)(int, const void *, size_t, int);
    if (!real)
        real = dlsym(RTLD_NEXT, "send");
    answers(fd, bytes, length);
    return real(fd, bytes, length, flags);
}

static int synced(int fd, int done)
{
    char name[4096];
    if (done == 0 && of(fd, name, sizeof name) && is_ours(name))
        note('s', name, 0, NULL, 0);
    return done;
}

int fsync(int fd)
{
    static int (*real)(int);
    if (!real)
        real = dlsym(RTLD_NEXT, "fsync");
    return synced(fd, real(fd));
}

int fdatasync(int fd)
{
    static int (*real)(int);
    if (!real)
        real = dlsym(RTLD_NEXT, "fdatasync");
    return synced(fd, real(fd));
}

int ftruncate64(int fd, off64_t length)
{
    static int (*real)(int, off64_t);
    char name[4096];
    if (!real)
        real = dlsym(RTLD_NEXT, "ftruncate64");
    int done = real(fd, length);
    if (done == 0 && of(fd, name, sizeof name) && is_ours(name))
        note('t', name, (uint64_t)length, NULL, 0);
    return done;
}

int ftruncate(int fd, off_t length)
{
    return ftruncate64(fd, length);
}

int unlink(const char *name)
{
    static int (*real)(const char *);
    if (!real)
        real = dlsym(RTLD_NEXT, "unlink");
    int done = real(name);
    if (done == 0 && record >= 0 && is_ours(name))
        note('u', name, 0, NULL, 0);
    return done;
}
