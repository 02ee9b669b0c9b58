//! A thread that looks whether other programs changed a job's files: reading a large sculpt to see
//! whether its content is another takes long, and nobody is to wait for it.

use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use files::JobFile;

use super::{Changed, Watched};

/// The thread. Dropping it ends it; nobody waits for that.
#[derive(Debug)]
pub struct Lookout {
    jobs: Sender<JobFile>,
    changes: Receiver<Vec<Changed>>,
    _thread: JoinHandle<()>,
}

impl Lookout {
    /// Starts to look at files as they were when `watched` took note of them, each time that `every` has
    /// passed. `notify` is called from the thread when there is something to [`Lookout::poll`].
    ///
    /// # Errors
    /// The system has no thread to give.
    pub fn start(
        watched: Watched,
        every: Duration,
        notify: impl Fn() + Send + 'static,
    ) -> std::io::Result<Self> {
        let (jobs, job) = channel();
        let (change, changes) = channel();
        let thread = std::thread::Builder::new().name("lookout".to_owned());
        let thread = thread.spawn(move || look(watched, every, &job, &change, notify))?;
        Ok(Self {
            jobs,
            changes,
            _thread: thread,
        })
    }

    /// Goes on with the job as it is now: see [`Watched::follow`].
    pub fn follow(&self, file: &JobFile) {
        // A thread that a fault has ended notices nothing any more; nothing else depends on it.
        let _ = self.jobs.send(file.clone());
    }

    /// What changed since the last call.
    pub fn poll(&self) -> Vec<Changed> {
        self.changes.try_iter().flatten().collect()
    }
}

fn look(
    mut watched: Watched,
    every: Duration,
    jobs: &Receiver<JobFile>,
    change: &Sender<Vec<Changed>>,
    notify: impl Fn(),
) {
    loop {
        match jobs.recv_timeout(every) {
            Ok(job) => {
                // Of jobs that came meanwhile the newest is enough.
                watched.follow(&jobs.try_iter().last().unwrap_or(job));
            }
            Err(RecvTimeoutError::Timeout) => {
                let changed = watched.look_at_rest();
                if changed.is_empty() {
                    continue;
                }
                if change.send(changed).is_err() {
                    return;
                }
                notify();
            }
            Err(RecvTimeoutError::Disconnected) => return,
        }
    }
}
