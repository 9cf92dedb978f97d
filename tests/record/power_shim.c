/* Preloaded under a process: logs, in order, what it does to the files of one folder, and which of it was synced.
 *
 * FOLDER and LOG in the environment name the folder and the log. Each entry of the log is a head (kind, length of the
 * name, offset, length of the data), then the name and the data. Kinds: O opened and made, W written, T truncated, S
 * synced, U unlinked. What happens to files whose names end in -shm is left out: nothing of them outlasts a process.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

#define MOST_FILES 1024

struct head {
    uint32_t kind, name_length;
    uint64_t offset, length;
};

static char *names[MOST_FILES];
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int log_file = -1;

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

static ssize_t real_write(int file, const void *data, size_t length)
{
    static __typeof__(&write) next;
    if (!next)
        next = REAL(write);
    return next(file, data, length);
}

static void put(const void *data, size_t length)
{
    if (real_write(log_file, data, length) != (ssize_t)length)
        abort();
}

static void note(uint32_t kind, const char *name, uint64_t offset, const void *data, uint64_t length)
{
    struct head head = {kind, (uint32_t)strlen(name), offset, length};
    if (log_file < 0)
        log_file = REAL(open)(getenv("LOG"), O_WRONLY | O_CREAT | O_APPEND, 0600);
    put(&head, sizeof head);
    put(name, head.name_length);
    if (data)
        put(data, length);
}

/* Returns the name of a file within the folder, "" for the folder itself, NULL for any other. */
static const char *ours(const char *path)
{
    const char *folder = getenv("FOLDER");
    size_t length = folder ? strlen(folder) : 0, own = strlen(path);
    if (!length || strncmp(path, folder, length) || (path[length] && path[length] != '/'))
        return NULL;
    if (own > 4 && !strcmp(path + own - 4, "-shm"))
        return NULL;
    return path[length] ? path + length + 1 : path + length;
}

static const char *name_of(int file)
{
    return file >= 0 && file < MOST_FILES ? names[file] : NULL;
}

static int opened(int file, const char *path, int is_new)
{
    const char *name = ours(path);
    if (name && file >= 0 && file < MOST_FILES) {
        pthread_mutex_lock(&lock);
        free(names[file]);
        names[file] = strdup(name);
        if (is_new)
            note('O', name, 0, NULL, 0);
        pthread_mutex_unlock(&lock);
    }
    return file;
}

#define OPENING(function)                                                     \
    int function(const char *path, int flags, ...)                            \
    {                                                                         \
        struct stat before;                                                   \
        va_list rest;                                                         \
        mode_t mode;                                                          \
        int is_new = (flags & O_CREAT) && ours(path) && stat(path, &before);  \
        va_start(rest, flags);                                                \
        mode = (mode_t)((flags & O_CREAT) ? va_arg(rest, int) : 0);           \
        va_end(rest);                                                         \
        return opened(REAL(function)(path, flags, mode), path, is_new);       \
    }
OPENING(open)
OPENING(open64)

int close(int file)
{
    if (name_of(file)) {
        pthread_mutex_lock(&lock);
        free(names[file]);
        names[file] = NULL;
        pthread_mutex_unlock(&lock);
    }
    return REAL(close)(file);
}

static ssize_t written(const char *name, uint64_t offset, const void *data, ssize_t length)
{
    if (length > 0)
        note('W', name, offset, data, (uint64_t)length);
    return length;
}

#define WRITING_AT(function, type)                                                      \
    ssize_t function(int file, const void *data, size_t length, type offset)            \
    {                                                                                   \
        ssize_t done;                                                                   \
        if (!name_of(file))                                                             \
            return REAL(function)(file, data, length, offset);                          \
        pthread_mutex_lock(&lock);                                                      \
        done = REAL(function)(file, data, length, offset);                              \
        written(name_of(file), (uint64_t)offset, data, done);                           \
        pthread_mutex_unlock(&lock);                                                    \
        return done;                                                                    \
    }
WRITING_AT(pwrite, off_t)
WRITING_AT(pwrite64, off64_t)

ssize_t write(int file, const void *data, size_t length)
{
    ssize_t done;
    off_t at;
    if (!name_of(file))
        return real_write(file, data, length);
    pthread_mutex_lock(&lock);
    at = lseek(file, 0, SEEK_CUR);
    done = written(name_of(file), (uint64_t)at, data, real_write(file, data, length));
    pthread_mutex_unlock(&lock);
    return done;
}

#define SYNCING(function)                                \
    int function(int file)                               \
    {                                                    \
        int failed = REAL(function)(file);               \
        if (name_of(file) && !failed) {                  \
            pthread_mutex_lock(&lock);                   \
            note('S', name_of(file), 0, NULL, 0);        \
            pthread_mutex_unlock(&lock);                 \
        }                                                \
        return failed;                                   \
    }
SYNCING(fsync)
SYNCING(fdatasync)

#define TRUNCATING(function, type)                                   \
    int function(int file, type length)                              \
    {                                                                \
        int failed = REAL(function)(file, length);                   \
        if (name_of(file) && !failed) {                              \
            pthread_mutex_lock(&lock);                               \
            note('T', name_of(file), (uint64_t)length, NULL, 0);     \
            pthread_mutex_unlock(&lock);                             \
        }                                                            \
        return failed;                                               \
    }
TRUNCATING(ftruncate, off_t)
TRUNCATING(ftruncate64, off64_t)

int unlink(const char *path)
{
    int failed = REAL(unlink)(path);
    const char *name = ours(path);
    if (name && !failed) {
        pthread_mutex_lock(&lock);
        note('U', name, 0, NULL, 0);
        pthread_mutex_unlock(&lock);
    }
    return failed;
}
