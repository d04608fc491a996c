//! A rest between two drills: a page that counts down, or just the time; a key goes on.

use super::world::{Key, World};
use crate::views::live::Look;
use crate::views::rest;
use crate::views::terminal::Screen;
use std::io;
use std::time::Duration;

/// From one look to the next.
const LOOK: Duration = Duration::from_millis(50);

/// Rests for so many seconds, on a page where there is a look. False when the player or the system ends here.
///
/// # Errors
/// When keyboard or terminal are gone.
pub fn rest(world: &mut World, page: Option<Look>, next: &str, seconds: f64) -> io::Result<bool> {
    let mut screen = page.map(|_| Screen::take()).transpose()?;
    let begun = world.clock.now();
    let mut drawn = None;
    loop {
        let left_s = seconds - world.clock.now().saturating_sub(begun).as_secs_f64();
        if left_s <= 0.0 {
            return Ok(true);
        }
        if let Some(screen) = &mut screen {
            let shown = (left_s.ceil() as u32, screen.size()?);
            if drawn.replace(shown) != Some(shown) {
                screen.draw(|area, buffer| rest::draw(shown.0, next, area, buffer))?;
            }
        }
        match world.keys.next(LOOK)? {
            Some(Key::End) => return Ok(false),
            Some(Key::Next) => return Ok(true),
            _ if world.signals.end_wanted() => return Ok(false),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::world::Keys;

    /// One key, at once.
    struct Pressed(Option<Key>);

    impl Keys for Pressed {
        fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
            std::thread::sleep(wait);
            Ok(self.0.take())
        }
    }

    fn rested(key: Option<Key>, seconds: f64) -> (bool, Duration) {
        let mut world = World { keys: Box::new(Pressed(key)), ..World::real().unwrap() };
        let begun = std::time::Instant::now();
        (rest(&mut world, None, "Slow climb", seconds).unwrap(), begun.elapsed())
    }

    #[test]
    fn a_rest_is_over_after_its_time_or_by_a_key() {
        let (goes_on, took) = rested(None, 0.3);
        assert!(goes_on && took >= Duration::from_millis(300), "{took:?}");
        for (key, on) in [(Key::Next, true), (Key::End, false)] {
            let (goes_on, took) = rested(Some(key), 60.0);
            assert!(goes_on == on && took < Duration::from_secs(5), "{key:?}: {took:?}");
        }
    }
}
