/* Worker threads in two crews: what takes long never stands before what is quick. */
#include "http_impl.h"

#include <stdlib.h>

#define THREADS 16

typedef struct crew {
    pthread_mutex_t lock;
    pthread_cond_t something;
    http_task *first, *last;
    bool closing;
    pthread_t thread[THREADS];
    int threads;
} crew;

struct http_work {
    crew light, heavy;
};

/* The next task; NULL when closing and all is done. */
static http_task *take(crew *crew) {
    pthread_mutex_lock(&crew->lock);
    while (!crew->first && !crew->closing)
        pthread_cond_wait(&crew->something, &crew->lock);
    http_task *task = crew->first;
    if (task) crew->first = task->next;
    pthread_mutex_unlock(&crew->lock);
    return task;
}

static void *work(void *data) {
    http_task *task;
    while ((task = take(data)))
        task->run(task);
    return NULL;
}

static void crew_open(crew *crew, int threads) {
    pthread_mutex_init(&crew->lock, NULL);
    pthread_cond_init(&crew->something, NULL);
    while (crew->threads < threads && crew->threads < THREADS &&
           pthread_create(&crew->thread[crew->threads], NULL, work, crew) == 0)
        crew->threads++;
}

static void crew_close(crew *crew) {
    pthread_mutex_lock(&crew->lock);
    crew->closing = true;
    pthread_cond_broadcast(&crew->something);
    pthread_mutex_unlock(&crew->lock);
    for (int i = 0; i < crew->threads; i++)
        pthread_join(crew->thread[i], NULL);
    crew->threads = 0;
}

static void crew_free(crew *crew) {
    pthread_cond_destroy(&crew->something);
    pthread_mutex_destroy(&crew->lock);
}

http_work *http_work_new(int light, int heavy) {
    http_work *work = calloc(1, sizeof *work);
    if (!work) return NULL;
    crew_open(&work->light, light);
    crew_open(&work->heavy, heavy);
    if (work->light.threads && work->heavy.threads) return work;
    http_work_close(work);
    http_work_free(work);
    return NULL;
}

bool http_work_add(http_work *work, http_task *task, bool heavy) {
    crew *crew = heavy ? &work->heavy : &work->light;
    pthread_mutex_lock(&crew->lock);
    bool open = !crew->closing;
    if (open) {
        task->next = NULL;
        *(crew->first ? &crew->last->next : &crew->first) = task;
        crew->last = task;
        pthread_cond_signal(&crew->something);
    }
    pthread_mutex_unlock(&crew->lock);
    return open;
}

void http_work_close(http_work *work) {
    crew_close(&work->light);
    crew_close(&work->heavy);
}

void http_work_free(http_work *work) {
    if (!work) return;
    crew_free(&work->light);
    crew_free(&work->heavy);
    free(work);
}
