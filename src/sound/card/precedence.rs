//! The thread of a card's callbacks goes before all others, where the system allows it: on Linux with a limit for real-time priority, which the users of sound
//! mostly have (`ulimit -r`). On a busy machine it would come late otherwise, and what is played would have holes. Other systems see to their callbacks' threads.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Shared by the two callbacks of a stream, which run on one thread.
#[derive(Clone, Debug, Default)]
pub(super) struct Precedence {
    taken: Arc<AtomicBool>,
}

impl Precedence {
    /// For each callback with sound: the first one asks the system, once, and a refusal changes nothing. Neither allocates nor waits.
    pub fn take(&self) {
        if !self.taken.load(Ordering::Relaxed) {
            self.taken.store(true, Ordering::Relaxed);
            before_others();
        }
    }

    /// For the error callback: a broken stream may report a million errors a second, which must not hold up the machine.
    pub fn give_back(&self) {
        if self.taken.swap(false, Ordering::Relaxed) {
            like_others();
        }
    }
}

/// Low among real-time threads: the sound server's own go before it.
#[cfg(target_os = "linux")]
const AMONG_REAL_TIME: u8 = 2;

#[cfg(target_os = "linux")]
fn before_others() {
    use thread_priority::{RealtimeThreadSchedulePolicy, ThreadPriority, ThreadSchedulePolicy};
    let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::RoundRobin);
    if let Ok(priority) = AMONG_REAL_TIME.try_into() {
        let _ = thread_priority::set_thread_priority_and_policy(
            thread_priority::thread_native_id(),
            ThreadPriority::Crossplatform(priority),
            policy,
        );
    }
}

#[cfg(target_os = "linux")]
fn like_others() {
    use thread_priority::{NormalThreadSchedulePolicy, ThreadPriority, ThreadSchedulePolicy};
    let policy = ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Other);
    if let Ok(middle) = 50_u8.try_into() {
        let _ = thread_priority::set_thread_priority_and_policy(
            thread_priority::thread_native_id(),
            ThreadPriority::Crossplatform(middle),
            policy,
        );
    }
}

#[cfg(not(target_os = "linux"))]
fn before_others() {}

#[cfg(not(target_os = "linux"))]
fn like_others() {}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;
    use thread_priority::{RealtimeThreadSchedulePolicy, ThreadSchedulePolicy, thread_schedule_policy};

    #[test]
    fn a_callbacks_thread_goes_before_others_until_its_stream_breaks() {
        let outcome = std::thread::spawn(|| {
            let real_time = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::RoundRobin);
            let usual = thread_schedule_policy().unwrap();
            let precedence = Precedence::default();
            precedence.take();
            let allowed = thread_schedule_policy().unwrap() == real_time;
            precedence.give_back();
            let after = thread_schedule_policy().unwrap();
            precedence.take();
            let again = thread_schedule_policy().unwrap() == real_time;
            precedence.give_back();
            (usual, allowed, after, again)
        });
        let (usual, allowed, after, again) = outcome.join().unwrap();
        assert!(after == usual && again == allowed, "{usual:?}, then {after:?}");
        if !allowed {
            eprintln!("skipped in part: this user has no limit for real-time priority");
        }
    }
}
