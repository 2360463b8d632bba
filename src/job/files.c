/* Files that are there whole or not at all. */
#include "job_impl.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

base_code job_file_complain(const char *path, const char *doing, base_errors *errors) {
    static const struct {
        int error;
        const char *remedy;
    } rows[] = {{ENOSPC, "make room on the disk"},
                {EDQUOT, "make room on the disk"},
                {EFBIG, "the disk takes no file that long: name another disk"},
                {ENOENT, "make the folder first, or look at the name"},
                {ENOTDIR, "make the folder first, or look at the name"},
                {EISDIR, "name a file, not a folder"},
                {EACCES, "allow writing there, or name another folder"},
                {EPERM, "allow writing there, or name another folder"},
                {EROFS, "the disk is read-only: name another"}};
    int error = errno;
    const char *remedy = "look whether the disk is there and sound";
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (rows[i].error == error) remedy = rows[i].remedy;
    if (error == ENOMEM) return job_no_memory(errors);
    return base_errors_add(errors, BASE_FILE, (base_place){path, 0, 0}, "%s: %s|%s", doing,
                           strerror(error), remedy);
}

/* The folder's list of names onto the disk, so that a move outlives a power cut. */
base_code job_folder_sync(const char *path_in_it, base_errors *errors) {
    char *folder = strdup(path_in_it);
    if (!folder) return job_no_memory(errors);
    char *slash = strrchr(folder, '/');
    if (slash) slash[slash == folder ? 1 : 0] = 0;
    int at = open(slash ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    /* Some file systems cannot do it: EINVAL says that there is nothing to be done. */
    bool well = at >= 0 && (fsync(at) == 0 || errno == EINVAL);
    base_code code = well ? BASE_OK : job_file_complain(folder, "the folder was not kept", errors);
    if (at >= 0) close(at);
    free(folder);
    return code;
}

base_code job_file_sync(const char *path, base_errors *errors) {
    int at = open(path, O_RDWR | O_CLOEXEC);
    bool well = at >= 0 && fsync(at) == 0;
    base_code code = well ? BASE_OK : job_file_complain(path, "the file was not kept", errors);
    if (at >= 0) close(at);
    return code;
}

base_code job_file_begin(job_file *file, const char *path, base_errors *errors) {
    *file = (job_file){.path = strdup(path)};
    if (!file->path || asprintf(&file->part, "%s.part", path) < 0) {
        file->part = NULL;
        free(file->path);
        return job_no_memory(errors);
    }
    file->file = fopen(file->part, "we");
    if (file->file) return BASE_OK;
    base_code code = job_file_complain(path, "the file cannot be written", errors);
    free(file->path);
    free(file->part);
    return code;
}

base_code job_file_end(job_file *file, base_code code, base_errors *errors) {
    const char *doing = "the file was not written";
    if (code == BASE_OK &&
        (fflush(file->file) != 0 || ferror(file->file) || fsync(fileno(file->file)) != 0))
        code = job_file_complain(file->path, doing, errors);
    if (fclose(file->file) != 0 && code == BASE_OK)
        code = job_file_complain(file->path, doing, errors);
    if (code == BASE_OK && rename(file->part, file->path) != 0)
        code = job_file_complain(file->path, doing, errors);
    if (code != BASE_OK) unlink(file->part);
    if (code == BASE_OK) code = job_folder_sync(file->path, errors);
    free(file->path);
    free(file->part);
    return code;
}
