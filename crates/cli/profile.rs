//! The maker's profile folder: deliveries, records, and what bench tests taught.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use barwright_blend::{Model, Parameters};
use barwright_records::{FILE_NAME, RecordsError, Store};
use barwright_trials::Learned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::error::CliError;
use crate::input::{LEARNED, read_text_of};
use crate::output::Streams;
use crate::save::{save, sweep};
use barwright_answer::Fault;
use barwright_answer::engine::builtin_model;

/// Name of the deliveries in a profile folder.
const LOTS_FILE: &str = "lots.toml";

/// Name of what was learned in a profile folder.
const LEARNED_FILE: &str = "learned.json";

/// Layout of what was learned that this version writes and reads.
const LEARNED_LAYOUT: u32 = 2;

/// The maker's folder, if one was named.
#[derive(Debug)]
pub struct Profile {
    folder: Option<PathBuf>,
}

/// What was learned, as kept.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct LearnedFile {
    layout: u32,
    /// Digest of the file as it is written with this one empty: what a hand or a disk changed is not believed.
    digest: String,
    /// Digest of the model it was learned with: scores mean nothing to another.
    model: String,
    /// Digest of the deliveries it was learned with.
    lots: String,
    /// Number of the last trial the records held.
    last_trial: i64,
    learned: Learned,
}

/// The part of the file that every layout has.
#[derive(Debug, Deserialize)]
struct LearnedLayout {
    layout: u32,
}

impl LearnedFile {
    /// Digest of the file but for the digest in it.
    fn own_digest(&mut self) -> Result<String, serde_json::Error> {
        let kept = std::mem::take(&mut self.digest);
        let text = serde_json::to_vec(self)?;
        self.digest = kept;
        Ok(digest(&text))
    }
}

impl Profile {
    /// Takes the folder named on the command line or in the environment; it is looked at when it is needed.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Profile { folder }
    }

    /// Returns the folder.
    ///
    /// # Errors
    /// None was named.
    pub fn folder(&self) -> Result<&Path, CliError> {
        self.folder.as_deref().ok_or_else(|| {
            CliError::command_line(Fault::new("no-profile", "no folder was named to keep records in").hint(
                "Name one: `barwright --profile FOLDER ...`, or put it into the environment as BARWRIGHT_PROFILE.",
            ))
        })
    }

    /// Returns the file of deliveries to use: the one written, else the folder's, if there is one.
    pub fn lots(&self, written: Option<&OsStr>) -> Option<PathBuf> {
        written.map(PathBuf::from).or_else(|| {
            let path = self.folder.as_ref()?.join(LOTS_FILE);
            path.exists().then_some(path)
        })
    }

    /// Returns the model, with what was learned in this folder, and notes on it.
    ///
    /// # Errors
    /// A folder was named and is not there; what was learned cannot be read.
    pub fn model(&self, streams: &mut Streams<'_>) -> Result<Model, CliError> {
        match &self.folder {
            Some(folder) if !folder.is_dir() => Err(CliError::from(RecordsError::NoFolder { folder: folder.clone() })),
            _ => self.model_to_write(streams),
        }
    }

    /// The same for a command that makes the folder when it is not there.
    pub fn model_to_write(&self, streams: &mut Streams<'_>) -> Result<Model, CliError> {
        let model = builtin_model()?;
        if self.folder.is_none() {
            return Ok(model);
        }
        let Some(kept) = self.learned()? else { return Ok(model) };
        if kept.model != digest(Parameters::builtin_text().as_bytes()) {
            streams.remarks.note(
                "what your bench tests taught was learned with another version of the model and is not used: say `barwright trial fit` again",
            )?;
            return Ok(model);
        }
        let newer = match self.store_if_any()? {
            Some(store) => store.trials_after(kept.last_trial)?,
            None => 0,
        };
        let newer = match newer {
            0 => None,
            1 => Some(
                "1 bench test was added since the last `barwright trial fit`, which would learn from it".to_owned(),
            ),
            count => Some(format!(
                "{count} bench tests were added since the last `barwright trial fit`, which would learn from them"
            )),
        };
        if let Some(newer) = newer {
            streams.remarks.note(&newer)?;
        }
        if kept.lots != self.lots_digest() {
            streams.remarks.note(
                "your deliveries were changed since the last `barwright trial fit`: say it again, so that what was learned fits them",
            )?;
        }
        kept.learned.applied(&model.parameters).map_err(|error| {
            CliError::from(
                Fault::new("learned", format!("what your bench tests taught cannot be used: {error}"))
                    .hint("Say `barwright trial fit` again."),
            )
        })
    }

    /// Keeps what was learned; returns the file.
    pub fn keep_learned(&self, learned: &Learned, last_trial: i64) -> Result<PathBuf, CliError> {
        let path = self.folder()?.join(LEARNED_FILE);
        let mut kept = LearnedFile {
            layout: LEARNED_LAYOUT,
            digest: String::new(),
            model: digest(Parameters::builtin_text().as_bytes()),
            lots: self.lots_digest(),
            last_trial,
            learned: learned.clone(),
        };
        kept.digest = kept.own_digest()?;
        save(&path, &serde_json::to_vec(&kept)?)?;
        Ok(path)
    }

    /// Opens the records, which must be there.
    pub fn store(&self) -> Result<Store, CliError> {
        let folder = self.folder()?;
        if !folder.is_dir() {
            return Err(CliError::from(RecordsError::NoFolder { folder: folder.to_owned() }));
        }
        self.store_if_any()?.ok_or_else(|| {
            let message = format!("there are no records in `{}`", folder.display());
            let hint = "They begin with the first `barwright batch --record` or `barwright trial add`.";
            Fault::new("no-records", message).hint(hint).into()
        })
    }

    /// Opens the records to add to them; makes folder and records where there are none.
    pub fn store_to_write(&self, streams: &mut Streams<'_>) -> Result<Store, CliError> {
        let folder = self.folder()?;
        if !folder.exists() {
            make_folder(folder)?;
            streams.remarks.note(&format!("made the folder {}", folder.display()))?;
        }
        sweep(folder);
        Ok(Store::open(folder)?)
    }

    /// Opens the records, if there are any.
    pub fn store_if_any(&self) -> Result<Option<Store>, CliError> {
        let folder = self.folder()?;
        if !folder.join(FILE_NAME).exists() {
            return Ok(None);
        }
        Ok(Some(Store::open(folder)?))
    }

    /// Reads what was learned, if anything was.
    fn learned(&self) -> Result<Option<LearnedFile>, CliError> {
        let path = self.folder()?.join(LEARNED_FILE);
        if !path.exists() {
            return Ok(None);
        }
        let (text, origin) = read_text_of(&path, &LEARNED)?;
        let damaged = |what: String| {
            Fault::about_file("learned", format!("`{origin}` is not what `trial fit` writes: {what}"), &origin)
                .hint("Say `barwright trial fit` again to write it anew.")
        };
        let unread = |error: serde_json::Error| damaged(error.to_string());
        let LearnedLayout { layout } = serde_json::from_str(&text).map_err(unread)?;
        if layout != LEARNED_LAYOUT {
            return Err(damaged(format!("its layout is {layout}, this version reads {LEARNED_LAYOUT}")).into());
        }
        let mut kept: LearnedFile = serde_json::from_str(&text).map_err(unread)?;
        if kept.own_digest()? != kept.digest {
            return Err(damaged("it was changed since it was written".to_owned()).into());
        }
        Ok(Some(kept))
    }

    /// Digest of the folder's deliveries; of nothing when there are none or they cannot be read.
    fn lots_digest(&self) -> String {
        let text = self.lots(None).and_then(|path| std::fs::read(path).ok());
        digest(&text.unwrap_or_default())
    }
}

/// Makes a folder, and those above it, unless it is there.
pub fn make_folder(folder: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(folder).map_err(|error| {
        Fault::new("no-folder", format!("the folder `{}` cannot be made: {error}", folder.display()))
            .hint("Name another folder, or make it first.")
            .into()
    })
}

/// SHA-256 of a text, in hexadecimal digits.
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}
