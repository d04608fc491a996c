//! The thread that keeps takes and rows. It alone waits for the disk.

use super::clock::Clock;
use super::own_sound::OwnNews;
use super::recorder::{Recorded, Recorder};
use crate::grading::Told;
use crate::logbook::log::Log;
use crate::logbook::row::Row;
use crate::sound::Fault;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, unbounded};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

/// What the keeper is told.
pub enum Order {
    /// A take begins; the one before has ended.
    Take(Box<Recorder>),
    /// Its channel was chosen, counted from 1.
    Channel(u16),
    /// Its sound had a fault.
    Fault(Fault),
    /// What landfall itself sounds beside it.
    Own(OwnNews),
    /// Something was told while it was heard.
    Told(Told),
    /// Rows for the log.
    Rows(Vec<Row>),
}

/// What was kept, at the end.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// The takes, in order.
    pub takes: Vec<PathBuf>,
    /// Rows in the log.
    pub rows: usize,
    /// What could not be kept, each as a sentence.
    pub problems: Vec<String>,
}

/// The keeper's thread.
pub struct Keeper {
    orders: Sender<Order>,
    notices: Receiver<String>,
    thread: JoinHandle<Kept>,
}

impl Keeper {
    /// Starts it.
    #[must_use]
    pub fn start(log: Option<Log>, clock: Arc<dyn Clock>) -> Self {
        let (orders, received) = unbounded();
        let (notice, notices) = unbounded();
        let desk = Desk { log, clock, recorder: None, unsaved: Vec::new(), kept: Kept::default(), notice };
        let thread = std::thread::spawn(move || desk.run(&received));
        Self { orders, notices, thread }
    }

    /// Where to tell it.
    #[must_use]
    pub fn orders(&self) -> Sender<Order> {
        self.orders.clone()
    }

    /// What the player should hear of; never waits.
    #[must_use]
    pub fn notice(&self) -> Option<String> {
        self.notices.try_recv().ok()
    }

    /// Waits until everything that it was told is kept. All other senders must be gone.
    ///
    /// # Errors
    /// One sentence when the keeper itself failed.
    pub fn finish(self) -> Result<Kept, String> {
        drop(self.orders);
        self.thread.join().map_err(|_| "the thread that keeps takes and rows failed; look at the takes and the log".to_owned())
    }
}

struct Desk {
    log: Option<Log>,
    clock: Arc<dyn Clock>,
    recorder: Option<Box<Recorder>>,
    unsaved: Vec<Row>,
    kept: Kept,
    notice: Sender<String>,
}

impl Desk {
    fn run(mut self, orders: &Receiver<Order>) -> Kept {
        loop {
            match orders.recv_timeout(Duration::from_millis(20)) {
                Ok(order) => self.obey(order),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.pump();
        }
        self.close();
        self.append();
        if let (Some(log), false) = (&self.log, self.unsaved.is_empty()) {
            let sentence = format!(
                "{} rows could not be added to {}; make room and grade the take again with --log",
                self.unsaved.len(),
                log.path().display()
            );
            self.kept.problems.push(sentence);
        }
        self.kept
    }

    fn obey(&mut self, order: Order) {
        match order {
            Order::Take(recorder) => {
                self.close();
                self.kept.takes.push(recorder.path().to_owned());
                self.recorder = Some(recorder);
            }
            Order::Channel(channel) => {
                if let Some(recorder) = &mut self.recorder {
                    recorder.channel(channel);
                }
            }
            Order::Fault(fault) => {
                if let Some(recorder) = &mut self.recorder {
                    recorder.fault(&fault);
                }
            }
            Order::Own(news) => {
                if let Some(recorder) = &mut self.recorder {
                    recorder.own(&news);
                }
            }
            Order::Told(told) => {
                if let Some(recorder) = &mut self.recorder {
                    recorder.told(told);
                }
            }
            Order::Rows(rows) => {
                self.unsaved.extend(rows);
                self.append();
            }
        }
    }

    fn pump(&mut self) {
        let Some(recorder) = &mut self.recorder else { return };
        match recorder.pump(self.clock.now()) {
            Recorded::Going => {}
            Recorded::Whole => self.recorder = None,
            Recorded::CutShort(problem) => {
                let sentence =
                    format!("the take {} is kept up to {:.1} s only: {problem}; make room", recorder.path().display(), recorder.seconds());
                self.recorder = None;
                self.say(sentence);
            }
        }
    }

    /// The take's sound has ended; what is still in its ring is written.
    fn close(&mut self) {
        while self.recorder.is_some() {
            self.pump();
            if self.recorder.is_some() {
                self.clock.wait(Duration::from_millis(5));
            }
        }
    }

    fn append(&mut self) {
        let Some(log) = &mut self.log else {
            self.unsaved.clear();
            return;
        };
        if self.unsaved.is_empty() {
            return;
        }
        match log.append(&self.unsaved) {
            Ok(()) => {
                self.kept.rows += self.unsaved.len();
                self.unsaved.clear();
            }
            Err(error) => {
                // They are tried again with the next row, and at the end.
                let _ = self.notice.send(format!("{error}; the row is kept until it can be added"));
            }
        }
    }

    fn say(&mut self, sentence: String) {
        let _ = self.notice.send(sentence.clone());
        self.kept.problems.push(sentence);
    }
}
