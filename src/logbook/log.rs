//! The player's log: rows are only ever added, each of them whole.
//!
//! - Two programs may write at once: each holds the system's lock on the file while it adds.
//! - A row goes out in one piece; if the disk is full half-way, the half row is taken back.
//! - A line that was torn off (the machine lost power) is completed when only its line end is missing, and otherwise moved to
//!   a file beside (`attempts.csv.torn`), so that the log stays readable everywhere and nothing is thrown away.
//! - A file with other columns (another version, another program) is left alone: rows go beside it (`attempts-2.csv`).

use super::row::Row;
use super::{LogbookError, attempts};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A log that can be added to.
#[derive(Debug)]
pub struct Log {
    path: PathBuf,
    notices: Vec<Notice>,
}

/// What was done on opening that the player should hear of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Notice {
    /// The named file has other columns; rows go into another one.
    Beside {
        /// What was named.
        named: PathBuf,
        /// Where rows go.
        used: PathBuf,
    },
    /// The end of the last line was missing and was added.
    Completed {
        /// The log.
        path: PathBuf,
    },
    /// A torn line was moved out of the log.
    SetAside {
        /// The log.
        path: PathBuf,
        /// Where the torn line is now.
        to: PathBuf,
    },
}

impl std::fmt::Display for Notice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Beside { named, used } => {
                write!(f, "{} has other columns and is left as it is; rows go to {}", named.display(), used.display())
            }
            Self::Completed { path } => write!(f, "the last line of {} lacked its end, which was added", path.display()),
            Self::SetAside { path, to } => {
                write!(f, "the last line of {} was cut short and was moved to {}", path.display(), to.display())
            }
        }
    }
}

impl Log {
    /// Opens or begins the log at `path`, making its folder where needed.
    ///
    /// # Errors
    /// When the file cannot be read or written, or is no ordinary file.
    pub fn open(path: &Path) -> Result<Self, LogbookError> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            fs::create_dir_all(folder).map_err(|reason| LogbookError::unwritable(folder, reason))?;
        }
        for candidate in family(path) {
            let mut file = locked(&candidate)?;
            if let Some(mut notices) = prepare(&candidate, &mut file)? {
                if candidate != path {
                    notices.insert(0, Notice::Beside { named: path.to_owned(), used: candidate.clone() });
                }
                return Ok(Self { path: candidate, notices });
            }
        }
        unreachable!("a family of file names has no end")
    }

    /// Where rows go.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What was found on opening.
    #[must_use]
    pub fn notices(&self) -> &[Notice] {
        &self.notices
    }

    /// Adds rows, all or none.
    ///
    /// # Errors
    /// When they cannot be written, or when the file was exchanged for another meanwhile. What the file held before is unchanged.
    pub fn append(&mut self, rows: &[Row]) -> Result<(), LogbookError> {
        let mut file = locked(&self.path)?;
        match prepare(&self.path, &mut file)? {
            Some(notices) => self.notices.extend(notices),
            None => return Err(LogbookError::NotALog { path: self.path.clone(), found: "it was exchanged for another file".into() }),
        }
        let bytes: Vec<u8> = rows.iter().flat_map(attempts::line).collect();
        add(&mut file, &bytes).map_err(|reason| LogbookError::unwritable(&self.path, reason))
    }
}

/// Reads a log, and those that were put beside it because their columns differ, in the order of their names.
/// A log that does not exist yet holds nothing. Each part comes with the file that it was read from.
///
/// # Errors
/// When a file cannot be read, or the first one is no log.
pub fn read(path: &Path) -> Result<Vec<(PathBuf, attempts::Attempts)>, LogbookError> {
    let mut parts = Vec::new();
    for candidate in family(path).take_while(|candidate| candidate.exists()) {
        parts.push((candidate.clone(), read_one(&candidate)?));
    }
    Ok(parts)
}

fn read_one(path: &Path) -> Result<attempts::Attempts, LogbookError> {
    ordinary(path)?;
    let file = File::open(path).map_err(|reason| LogbookError::unreadable(path, reason))?;
    attempts::read(io::BufReader::new(file)).map_err(|error| match error {
        attempts::ReadError::Io(reason) => LogbookError::unreadable(path, reason),
        attempts::ReadError::NoHeader(found) => LogbookError::NotALog { path: path.to_owned(), found },
    })
}

/// `attempts.csv`, `attempts-2.csv`, `attempts-3.csv` ...
fn family(path: &Path) -> impl Iterator<Item = PathBuf> + use<> {
    let path = path.to_owned();
    (1u64..).map(move |number| {
        if number == 1 {
            return path.clone();
        }
        let mut name = path.file_stem().unwrap_or_default().to_owned();
        name.push(format!("-{number}"));
        if let Some(ending) = path.extension() {
            name.push(".");
            name.push(ending);
        }
        path.with_file_name(name)
    })
}

fn ordinary(path: &Path) -> Result<(), LogbookError> {
    match fs::metadata(path) {
        Ok(found) if !found.is_file() => Err(LogbookError::NotAFile { path: path.to_owned() }),
        _ => Ok(()),
    }
}

/// The file, opened to add, with the system's lock, which ends with the handle.
fn locked(path: &Path) -> Result<File, LogbookError> {
    ordinary(path)?;
    let unwritable = |reason| LogbookError::unwritable(path, reason);
    let file = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(unwritable)?;
    match file.lock() {
        // Some network drives know no locks: a single writer is all that can be had there.
        Err(reason) if reason.kind() != io::ErrorKind::Unsupported => Err(unwritable(reason)),
        _ => Ok(file),
    }
}

/// Makes the file ready for whole rows. `None` when it is not a log with exactly our columns.
fn prepare(path: &Path, file: &mut File) -> Result<Option<Vec<Notice>>, LogbookError> {
    let unreadable = |reason| LogbookError::unreadable(path, reason);
    let unwritable = |reason| LogbookError::unwritable(path, reason);
    let mut bytes = Vec::new();
    file.seek(SeekFrom::Start(0)).and_then(|_| file.read_to_end(&mut bytes)).map_err(unreadable)?;
    let header = attempts::header();
    if bytes.len() < header.len() && header.starts_with(&bytes) {
        // Empty, or torn within the header: nothing but the rest of the header is missing.
        add(file, &header[bytes.len()..]).map_err(unwritable)?;
        return Ok(Some(Vec::new()));
    }
    if !bytes.starts_with(&header) {
        return Ok(None);
    }
    let whole = whole_rows(&bytes);
    let torn = &bytes[whole..];
    if torn.is_empty() {
        return Ok(Some(Vec::new()));
    }
    if let Some(end) = missing_end(torn) {
        add(file, end).map_err(unwritable)?;
        return Ok(Some(vec![Notice::Completed { path: path.to_owned() }]));
    }
    let to = beside_torn(path);
    set_aside(&to, torn).map_err(|reason| LogbookError::unwritable(&to, reason))?;
    file.set_len(whole as u64).and_then(|()| file.sync_data()).map_err(unwritable)?;
    Ok(Some(vec![Notice::SetAside { path: path.to_owned(), to }]))
}

/// Where the last line break outside quotes ends.
fn whole_rows(bytes: &[u8]) -> usize {
    let mut quoted = false;
    let mut end = 0;
    for (at, byte) in bytes.iter().enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            b'\n' if !quoted => end = at + 1,
            _ => {}
        }
    }
    end
}

/// What the last line lacks if it is a whole row but for its end. Every measure has a fixed number of decimals, so a last cell that
/// does not stand as this version writes it was cut. (Cut right before its last cell, a row says unknown there, which is true.)
fn missing_end(torn: &[u8]) -> Option<&'static [u8]> {
    let (line, end): (&[u8], &[u8]) = torn.strip_suffix(b"\r").map_or((torn, b"\r\n"), |line| (line, b"\n"));
    let file = [&attempts::header()[..], line, b"\r\n"].concat();
    let found = attempts::read(&file[..]).ok()?;
    let [row] = &found.rows[..] else { return None };
    let as_written = found.troubles.is_empty() && attempts::line(row).strip_suffix(b"\r\n") == Some(line);
    as_written.then_some(end)
}

fn beside_torn(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".torn");
    path.with_file_name(name)
}

fn set_aside(to: &Path, torn: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().append(true).create(true).open(to)?;
    add(&mut file, &[torn, b"\n"].concat())
}

/// Adds bytes at the end and waits until they are on the disk; takes them back when not all of them fit.
fn add(file: &mut File, bytes: &[u8]) -> io::Result<()> {
    let before = file.metadata()?.len();
    let written = file.write_all(bytes).and_then(|()| file.sync_data());
    if written.is_err() {
        let _ = file.set_len(before);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(attempt: u32) -> Row {
        Row { take: "evening".into(), attempt: Some(attempt), vibrato_delay_s: Some(0.3125), ..Row::default() }
    }

    fn in_a_folder(test: impl FnOnce(&Path)) {
        let folder = tempfile::tempdir().unwrap();
        test(&folder.path().join("deep").join("attempts.csv"));
    }

    fn attempts_in(path: &Path) -> Vec<u32> {
        read(path).unwrap().into_iter().flat_map(|(_, part)| part.rows).filter_map(|row| row.attempt).collect()
    }

    #[test]
    fn rows_are_added_after_those_of_another_day() {
        in_a_folder(|path| {
            Log::open(path).unwrap().append(&[row(1), row(2)]).unwrap();
            Log::open(path).unwrap().append(&[row(3)]).unwrap();
            assert_eq!(fs::read(path).unwrap(), attempts::whole_file(&[row(1), row(2), row(3)]));
        });
    }

    #[test]
    fn a_log_torn_at_any_byte_is_mended_and_nothing_is_thrown_away() {
        let whole = attempts::whole_file(&[row(1), row(2)]);
        let first = attempts::whole_file(&[row(1)]).len();
        // Every byte around the ends of lines, every seventh elsewhere: each cut waits for the disk.
        let near_an_end = |cut: usize| [attempts::header().len(), first, whole.len()].iter().any(|end| cut.abs_diff(*end) < 10);
        for cut in (0..=whole.len()).filter(|cut| cut % 7 == 0 || near_an_end(*cut)) {
            in_a_folder(|path| {
                fs::create_dir_all(path.parent().unwrap()).unwrap();
                fs::write(path, &whole[..cut]).unwrap();
                let mut log = Log::open(path).unwrap();
                log.append(&[row(9)]).unwrap();
                let aside = fs::read(beside_torn(path)).unwrap_or_default();
                // Whole but for CR LF, or but for the last cell ("0.3125") as well.
                let as_good_as_whole = |length: usize| cut + 2 >= length || cut + 8 == length;
                let expected: &[u32] = match cut {
                    _ if as_good_as_whole(whole.len()) => &[1, 2, 9],
                    _ if as_good_as_whole(first) => &[1, 9],
                    _ => &[9],
                };
                assert_eq!(attempts_in(path), expected, "cut at {cut}");
                assert!(read(path).unwrap().iter().all(|(_, part)| part.troubles.is_empty()), "cut at {cut}");
                let kept = [fs::read(path).unwrap(), aside].concat();
                let torn = &whole[attempts::header().len().min(cut)..cut];
                let last_line = torn.split(|byte| *byte == b'\n').next_back().unwrap_or_default();
                assert!(kept.windows(last_line.len().max(1)).any(|window| window.starts_with(last_line)), "cut at {cut}");
            });
        }
    }

    #[test]
    fn another_header_is_left_alone_and_rows_go_beside_it() {
        in_a_folder(|path| {
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            let older = b"take,attempt,hold_s\r\nold,7,1.0000\r\n";
            fs::write(path, older).unwrap();
            let mut log = Log::open(path).unwrap();
            log.append(&[row(1)]).unwrap();
            assert_eq!(fs::read(path).unwrap(), older);
            assert_eq!(log.path(), path.with_file_name("attempts-2.csv"));
            assert!(matches!(log.notices(), [Notice::Beside { .. }]));
            assert_eq!(attempts_in(path), [7, 1]);
            assert_eq!(Log::open(path).unwrap().path(), path.with_file_name("attempts-2.csv"));
        });
    }

    #[test]
    fn many_writers_at_once_lose_no_row() {
        in_a_folder(|path| {
            std::thread::scope(|scope| {
                for writer in 0..4 {
                    scope.spawn(move || {
                        let mut log = Log::open(path).unwrap();
                        (0..25).for_each(|attempt| log.append(&[row(writer * 100 + attempt)]).unwrap());
                    });
                }
            });
            let mut found = attempts_in(path);
            found.sort_unstable();
            let expected: Vec<u32> = (0..4).flat_map(|writer| (0..25).map(move |attempt| writer * 100 + attempt)).collect();
            assert_eq!(found, expected);
        });
    }

    #[test]
    fn a_device_is_no_place_for_a_log() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(Log::open(folder.path()), Err(LogbookError::NotAFile { .. })));
    }
}
