//! A waveform file that grows while a trial runs.

use crate::circuit::{Circuit, NetKey, Signal};
use crate::cli::files::{Stream, cannot_write};
use crate::export::vcd::{self, VcdWriter};
use crate::key::Key;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::Sink;
use std::path::{Path, PathBuf};

/// A waveform file that is written while the run goes on.
pub(super) struct Waveform {
    path: PathBuf,
    writer: VcdWriter<Stream>,
    /// The first thing that went wrong.
    failed: Option<std::io::Error>,
}

impl Waveform {
    /// Begins a file with the declarations of its signals.
    ///
    /// # Errors
    /// A sentence for a person when the disk refuses.
    pub(super) fn begin(path: &Path, circuit: &Circuit, signals: &[Signal]) -> Result<Waveform, String> {
        let file = Stream::create(path)?;
        let signals = signals.iter().map(|signal| vcd::Signal::of(circuit, signal));
        let signals: Vec<vcd::Signal> = signals.collect();
        let writer = VcdWriter::new(file, &circuit.name, Time::ZERO, &signals);
        Ok(Waveform {
            path: path.to_owned(),
            writer: writer.map_err(|error| cannot_write(path, &error))?,
            failed: None,
        })
    }

    /// Ends it, and puts it in its place.
    ///
    /// # Errors
    /// A sentence for a person, also of what was refused on the way.
    pub(super) fn finish(self, end: Time) -> Result<(), String> {
        let file = match self.failed {
            Some(error) => Err(error),
            None => self.writer.finish(end),
        };
        file.map_err(|error| cannot_write(&self.path, &error))?.finish()
    }
}

impl Sink for Waveform {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        if self.failed.is_none() {
            self.failed = self.writer.change(time, net.index(), level).err();
        }
    }
}
