//! A thread that keeps the surface up to the newest state of a job.
//!
//! The newest order wins: one that is under way when another comes is cancelled. Where guides only
//! moved a little, the last surface is carried along first, so that something follows the pen at once,
//! and then computed anew, so that what stands there in the end is what `loopwright run` gives.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

use base::{Finding, Findings, Level, Place, Task};
use engine::check::Measures;
use engine::model::Sculpt;
use files::JobFile;

use super::checked::checked;
use super::complete::{CompleteError, Completed, Rest, Stopped, completed};
use super::finish::FinishError;
use super::job::places_named;
use super::layers::{LayerFileError, LayerFiles};
use super::pipeline::{Outcome, Session, Settings, Way};
use ::finish::layers::Layer;

/// What the worker is to make.
#[derive(Clone, Debug)]
pub struct Order {
    /// Comes back with everything that is said of this order.
    pub stamp: u64,
    /// The job, which trims and layers are read from.
    pub job: JobFile,
    /// What a run takes of it.
    pub settings: Settings,
    /// How stages go about it.
    pub way: Way,
    /// Whether layers are read anew from their files, even if they were read before.
    pub reads_layers: bool,
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
    /// The job's layers that could be read, before anything is made.
    Layers {
        /// The order.
        stamp: u64,
        /// In the job's order.
        layers: Vec<Layer>,
    },
    /// The last surface at the end of its job: checked, with its trims, cleared of its layers. What
    /// can't be had of these is left out, and a finding that fails says why.
    Completed {
        /// The order.
        stamp: u64,
        /// The surface.
        done: Arc<Completed>,
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
    /// Starts a worker on a sculpt; `layers` are those that were read already. `notify` is called from
    /// its thread whenever there is something to [`Worker::poll`].
    ///
    /// # Errors
    /// The system has no thread to give.
    pub fn start(
        sculpt: Sculpt,
        layers: LayerFiles,
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
            .spawn(move || work(&of_thread, &sculpt, layers))?;
        Ok(Self {
            shared,
            thread: Some(thread),
        })
    }

    /// Asks for a surface; what is under way or waits is dropped.
    pub fn submit(&self, mut order: Order) {
        let mut inbox = self.shared.inbox();
        inbox.task.cancel();
        // What the order that is dropped should have read anew is still old.
        order.reads_layers |= inbox.next.as_ref().is_some_and(|next| next.reads_layers);
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

fn work(shared: &Arc<Shared>, sculpt: &Sculpt, layers: LayerFiles) {
    let mut kept = Kept {
        session: Session::new(sculpt.clone()),
        layers,
        last: None,
    };
    while let Some((order, task)) = next(shared) {
        let stamp = order.stamp;
        let ran = catch_unwind(AssertUnwindSafe(|| serve(shared, &mut kept, &order, &task)));
        if ran.is_err() {
            // What it left half done isn't used again.
            kept.session = Session::new(sculpt.clone());
            kept.last = None;
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

/// What an order leaves for the next.
struct Kept {
    session: Session,
    layers: LayerFiles,
    last: Option<Stood>,
}

/// A run's surface, what it was made from, and what its check gave: another trim or layer makes neither anew.
struct Stood {
    settings: Settings,
    way: Way,
    outcome: Arc<Outcome>,
    checked: (Measures, Findings),
}

fn serve(shared: &Shared, kept: &mut Kept, order: &Order, task: &Task) {
    let stamp = order.stamp;
    let (layers, unread) = read_layers(&mut kept.layers, order);
    shared.say(Event::Layers {
        stamp,
        layers: layers.clone(),
    });
    let refused = |message: String| {
        let message = with_lines(order, &message);
        shared.say(Event::Refused { stamp, message });
    };
    let stood = match stand(shared, kept, order, task) {
        Ok(stood) => stood,
        // What fails once the order is dropped is of no interest.
        Err(_) if task.checkpoint().is_err() => return,
        Err(message) => return refused(message),
    };
    let rest = Rest {
        spec: order.job.spec(),
        layers: if unread.is_empty() { &layers } else { &[] },
        checked: Some(&stood.checked),
        yardstick: false,
    };
    let sculpt = kept.session.sculpt();
    let done = completed(&stood.outcome, sculpt, &order.settings, &rest, task, |_| {});
    kept.last = Some(stood);
    let (mut done, stopped) = match done {
        Ok(done) => (done, None),
        Err(_) if task.checkpoint().is_err() => return,
        Err(Stopped { problem, so_far }) => match so_far {
            Some(done) => (*done, Some(problem)),
            None => return refused(problem.to_string()),
        },
    };
    let told = unread.iter().map(|unread| of_file(order, unread));
    told.chain(stopped.map(|problem| of_problem(order, &problem)))
        .for_each(|finding| done.findings.push(finding));
    let done = Arc::new(done);
    shared.say(Event::Completed { stamp, done });
}

/// The run's surface for an order, told as soon as it stands, and checked: the last one again where the
/// order asks a run for the same.
///
/// # Errors
/// Why there is none, in words.
fn stand(shared: &Shared, kept: &mut Kept, order: &Order, task: &Task) -> Result<Stood, String> {
    let (settings, way, stamp) = (&order.settings, order.way, order.stamp);
    let tell = |outcome: &Arc<Outcome>, carried| {
        shared.say(Event::Surface {
            stamp,
            outcome: Arc::clone(outcome),
            carried,
        });
    };
    let same = |last: &mut Stood| last.settings == *settings && last.way == way;
    if let Some(last) = kept.last.take_if(same) {
        tell(&last.outcome, false);
        return Ok(last);
    }
    let session = &mut kept.session;
    session.set_way(way);
    // If it can't be carried along, the run below says the same, or bears it.
    if let Ok(Some(outcome)) = session.run_carried(settings, task) {
        tell(&Arc::new(outcome), true);
    }
    let outcome = session.run(settings, task).map_err(|e| e.to_string())?;
    let outcome = Arc::new(outcome);
    tell(&outcome, false);
    let checked = checked(&outcome, session.sculpt(), settings, false, task);
    Ok(Stood {
        settings: settings.clone(),
        way,
        outcome,
        checked: checked.map_err(|e| e.to_string())?,
    })
}

/// The layers that can be read, and why others can't.
fn read_layers(files: &mut LayerFiles, order: &Order) -> (Vec<Layer>, Vec<LayerFileError>) {
    if order.reads_layers {
        files.forget();
    }
    let (mut layers, mut unread) = (Vec::new(), Vec::new());
    for layer in files.each(&order.job, order.job.spec()) {
        match layer {
            Ok(layer) => layers.push(layer),
            Err(problem) => unread.push(problem),
        }
    }
    (layers, unread)
}

/// A message after the job file's name and the lines of what it names.
fn with_lines(order: &Order, message: &str) -> String {
    let place = places_named(order.job.spec(), file_name(order), message);
    format!("{place}{message}")
}

fn file_name(order: &Order) -> String {
    let name = order.job.path().file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// A layer's file can't be used.
fn of_file(order: &Order, problem: &LayerFileError) -> Finding {
    let sentence = format!(
        "{}:{}: {problem}. The surface wasn't cleared of layers.",
        file_name(order),
        problem.line
    );
    Finding::new("layer-file", Level::Fail, sentence)
}

/// The end of the job that isn't reached.
fn of_problem(order: &Order, problem: &CompleteError) -> Finding {
    let said = with_lines(order, &problem.to_string());
    match problem {
        CompleteError::Finish(problem) => {
            let said = match (problem, order.job.line_of("lining", "thickness")) {
                (FinishError::Lining(_), Some(line)) => {
                    format!("{}:{line}: {problem}", file_name(order))
                }
                _ => said,
            };
            let sentence =
                format!("{said}. The surface is shown without trims, lining and layers.");
            let finding = Finding::new("trim-refused", Level::Fail, sentence);
            let at = match problem {
                FinishError::Trim(trim) => trim.at(),
                FinishError::Check(_) | FinishError::Lining(_) => None,
            };
            at.map_or(finding.clone(), |at| finding.at(Place::Point { at }))
        }
        CompleteError::Check(_) | CompleteError::Layers(_) => {
            let sentence = format!("{said}. The surface is shown as it was before.");
            Finding::new("not-completed", Level::Fail, sentence)
        }
    }
}
