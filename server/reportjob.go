package server

import (
	"context"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

const (
	reportPatience = 2 * time.Second  // how long a browser waits before it is told how far its report is
	reportKept     = 2 * time.Minute  // how long a report waits to be fetched
	reportLimit    = 10 * time.Minute // how long one may take
)

// reportJob is a report in the making, or one that waits to be fetched.
type reportJob struct {
	done, all atomic.Int64 // pictures
	ready     chan struct{}
	body      []byte // of a finished report
	err       error
}

// reportJobs are the reports that browsers wait for, by what was asked. A report
// that is fetched is forgotten, so that the next one is of the data of its day.
type reportJobs struct {
	mu   sync.Mutex
	jobs map[string]*reportJob
}

// join returns the job of that name; it starts one where there is none.
func (j *reportJobs) join(ctx context.Context, name string, run func(ctx context.Context, progress func(done, all int)) ([]byte, error)) *reportJob {
	j.mu.Lock()
	defer j.mu.Unlock()
	if job := j.jobs[name]; job != nil {
		return job
	}
	job := &reportJob{ready: make(chan struct{})}
	if j.jobs == nil {
		j.jobs = map[string]*reportJob{}
	}
	j.jobs[name] = job
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), reportLimit)
	go func() {
		defer cancel()
		defer time.AfterFunc(reportKept, func() { j.forget(name, job) })
		defer close(job.ready)
		defer func() {
			if p := recover(); p != nil {
				job.err = fmt.Errorf("make a report: %v\n%s", p, debug.Stack())
			}
		}()
		job.body, job.err = run(ctx, func(done, all int) {
			job.done.Store(int64(done))
			job.all.Store(int64(all))
		})
	}()
	return job
}

func (j *reportJobs) forget(name string, job *reportJob) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.jobs[name] == job {
		delete(j.jobs, name)
	}
}

// finished waits for a job and reports whether it is done: as long as it takes for a
// program, for patience only where somebody sits before a browser.
func (job *reportJob) finished(r *http.Request, patience time.Duration) (bool, error) {
	var soon <-chan time.Time
	if strings.Contains(r.Header.Get("Accept"), "text/html") {
		soon = time.After(patience)
	}
	select {
	case <-job.ready:
		return true, nil
	case <-soon:
		return false, nil
	case <-r.Context().Done():
		return false, r.Context().Err()
	}
}
