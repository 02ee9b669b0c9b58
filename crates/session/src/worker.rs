//! A thread that keeps the surface up to the newest state of a job.
//!
//! The newest order wins: one that is under way when another comes is cancelled. Where guides only
//! moved a little, the last surface is carried along first, so that something follows the pen at once,
//! and then computed anew, so that what stands there in the end is what `loopwright run` gives.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

use base::{Findings, Task};
use engine::check::Measures;
use engine::model::Sculpt;

use super::checked::checked;
use super::pipeline::{Outcome, Session, SessionError, Settings, Way};

/// What the worker is to make.
#[derive(Clone, Debug)]
pub struct Order {
    /// Comes back with everything that is said of this order.
    pub stamp: u64,
    /// The job.
    pub settings: Settings,
    /// How stages go about it.
    pub way: Way,
}

/// What the worker has to say, in the order in which it happened.
#[derive(Debug)]
pub enum Event {
    /// A stage goes on; share from 0 to 1.
    Progress {
        /// The order.
        stamp: u64,
        /// The stage.
        stage: String,
        /// How much of it is done.
        share: f32,
    },
    /// A surface.
    Surface {
        /// The order.
        stamp: u64,
        /// The surface, and what was found on the way.
        outcome: Arc<Outcome>,
        /// Whether it was carried along only: one that is computed anew follows.
        carried: bool,
    },
    /// The last surface's measures, and the findings of the check.
    Checked {
        /// The order.
        stamp: u64,
        /// The measures.
        measures: Box<Measures>,
        /// The findings.
        findings: Findings,
    },
    /// There is no surface for this order.
    Refused {
        /// The order.
        stamp: u64,
        /// Why, and what to do.
        message: String,
    },
}

#[derive(Default)]
struct Inbox {
    next: Option<Order>,
    /// The work under way.
    task: Task,
    busy: bool,
    stop: bool,
    events: VecDeque<Event>,
}

struct Shared {
    inbox: Mutex<Inbox>,
    wake: Condvar,
    notify: Box<dyn Fn() + Send + Sync>,
}

impl Shared {
    fn inbox(&self) -> MutexGuard<'_, Inbox> {
        // Nothing is done under the lock that could leave the inbox half changed.
        self.inbox.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Hands over an event, unless its order is no longer wanted.
    fn say(&self, event: Event) {
        let mut inbox = self.inbox();
        if inbox.stop || inbox.next.is_some() {
            return;
        }
        // Of progress the newest is enough.
        if let (Event::Progress { .. }, Some(Event::Progress { .. })) =
            (&event, inbox.events.back())
        {
            inbox.events.pop_back();
        }
        inbox.events.push_back(event);
        drop(inbox);
        (self.notify)();
    }
}

/// The thread. Dropping it cancels what is under way and waits for it to end.
pub struct Worker {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl Worker {
    /// Starts a worker on a sculpt. `notify` is called from its thread whenever there is something
    /// to [`Worker::poll`].
    ///
    /// # Errors
    /// The system has no thread to give.
    pub fn start(
        sculpt: Sculpt,
        notify: impl Fn() + Send + Sync + 'static,
    ) -> std::io::Result<Self> {
        let shared = Arc::new(Shared {
            inbox: Mutex::default(),
            wake: Condvar::new(),
            notify: Box::new(notify),
        });
        let of_thread = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("surface".to_owned())
            .spawn(move || work(&of_thread, &sculpt))?;
        Ok(Self {
            shared,
            thread: Some(thread),
        })
    }

    /// Asks for a surface; what is under way or waits is dropped.
    pub fn submit(&self, order: Order) {
        let mut inbox = self.shared.inbox();
        inbox.task.cancel();
        // Nothing is of interest any more of what older orders left.
        inbox.events.clear();
        inbox.next = Some(order);
        drop(inbox);
        self.shared.wake.notify_one();
    }

    /// What happened since the last call.
    pub fn poll(&self) -> Vec<Event> {
        self.shared.inbox().events.drain(..).collect()
    }

    /// Whether an order is under way or waits.
    pub fn is_busy(&self) -> bool {
        let inbox = self.shared.inbox();
        inbox.busy || inbox.next.is_some()
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        let mut inbox = self.shared.inbox();
        inbox.stop = true;
        inbox.task.cancel();
        drop(inbox);
        self.shared.wake.notify_one();
        if let Some(thread) = self.thread.take() {
            // A panic of the thread was told of as a refusal.
            let _ = thread.join();
        }
    }
}

fn work(shared: &Arc<Shared>, sculpt: &Sculpt) {
    let mut session = Session::new(sculpt.clone());
    while let Some((order, task)) = next(shared) {
        let stamp = order.stamp;
        let ran = catch_unwind(AssertUnwindSafe(|| {
            serve(shared, &mut session, &order, &task)
        }));
        if ran.is_err() {
            // What it left half done isn't used again.
            session = Session::new(sculpt.clone());
            let message = "There is a fault in Loopwright: this job ended it. The last surface \
                stays; take the last change back and go on, and please send us the job"
                .to_owned();
            shared.say(Event::Refused { stamp, message });
        }
        let mut inbox = shared.inbox();
        inbox.busy = false;
        // Its progress knows the inbox, which would keep itself alive for ever.
        inbox.task = Task::default();
        drop(inbox);
        (shared.notify)();
    }
}

/// Waits for an order; `None` when there will be no more.
fn next(shared: &Arc<Shared>) -> Option<(Order, Task)> {
    let mut inbox = shared.inbox();
    loop {
        if inbox.stop {
            return None;
        }
        if let Some(order) = inbox.next.take() {
            let of_task = Arc::clone(shared);
            let stamp = order.stamp;
            let task = Task::with_progress(move |stage, share| {
                let stage = stage.to_owned();
                of_task.say(Event::Progress {
                    stamp,
                    stage,
                    share,
                });
            });
            inbox.task = task.clone();
            inbox.busy = true;
            return Some((order, task));
        }
        inbox = shared
            .wake
            .wait(inbox)
            .unwrap_or_else(PoisonError::into_inner);
    }
}

fn serve(shared: &Shared, session: &mut Session, order: &Order, task: &Task) {
    let Order {
        stamp,
        settings,
        way,
    } = order;
    session.set_way(*way);
    let refused = |problem: &SessionError| {
        if !problem.is_cancelled() {
            let message = problem.to_string();
            shared.say(Event::Refused {
                stamp: *stamp,
                message,
            });
        }
    };
    let surface = |outcome: Outcome, carried| {
        let outcome = Arc::new(outcome);
        shared.say(Event::Surface {
            stamp: *stamp,
            outcome: Arc::clone(&outcome),
            carried,
        });
        outcome
    };
    match session.run_carried(settings, task) {
        Ok(Some(outcome)) => drop(surface(outcome, true)),
        Ok(None) => {}
        // The run below says the same, or bears it.
        Err(_) => {}
    }
    let outcome = match session.run(settings, task) {
        Ok(outcome) => surface(outcome, false),
        Err(problem) => return refused(&problem),
    };
    match checked(&outcome, session.sculpt(), settings, false, task) {
        Ok((measures, findings)) => shared.say(Event::Checked {
            stamp: *stamp,
            measures: Box::new(measures),
            findings,
        }),
        Err(problem) if task.checkpoint().is_ok() => shared.say(Event::Refused {
            stamp: *stamp,
            message: problem.to_string(),
        }),
        Err(_) => {}
    }
}
