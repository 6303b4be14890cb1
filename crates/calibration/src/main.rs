//! Fits the blend model to published measurements and writes its parameter file.

use std::error::Error;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use barwright_blend::Parameters;
use barwright_calibration::{Calibration, calibrate, write};
use barwright_reference::Library;
use barwright_validation::measurement;
use clap::Parser;

/// Fit the blend model's parameters to the fitting rows of the measurement table
#[derive(Debug, Parser)]
struct Arguments {
    /// Parameters before the fit
    #[arg(long, default_value = "data/priors.toml")]
    priors: PathBuf,
    /// Published measurements
    #[arg(long, default_value = "data/validation/measurements.csv")]
    table: PathBuf,
    /// File to write
    #[arg(long, default_value = "data/model.toml")]
    out: PathBuf,
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = Arguments::parse();
    let library = Library::builtin().map_err(|faults| lines(&faults))?;
    let text = fs::read_to_string(&arguments.priors)?;
    let priors = Parameters::from_toml(&text)?;
    let table = measurement::read(&fs::read_to_string(&arguments.table)?, &library).map_err(|faults| lines(&faults))?;
    let calibration = calibrate(&library, &priors, &table)?;
    let model = write::model_toml(&text, &calibration)?;
    Parameters::from_toml(&model)?;
    replace(&arguments.out, &model)?;
    report(&calibration, &mut std::io::stdout().lock())?;
    Ok(())
}

fn lines<T: ToString>(faults: &[T]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// Writes a temporary file beside `path`, syncs it, renames it.
fn replace(path: &Path, text: &str) -> Result<(), Box<dyn Error>> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    file.persist(path)?;
    Ok(())
}

fn report(calibration: &Calibration, out: &mut impl Write) -> std::io::Result<()> {
    writeln!(out, "{} fitting rows, {} fitted figures", calibration.observations.len(), calibration.fitted.len())?;
    writeln!(out, "\n{:<32} {:>18} {:>18} {:>10}", "figure", "before", "after", "from data")?;
    for one in &calibration.fitted {
        let (prior, share) = (one.prior, 100.0 * one.data_share);
        let before = format!("{:.3} ± {:.3}", prior.mean, prior.sd);
        let after = format!("{:.3} ± {:.3}", one.centre, one.sd);
        writeln!(out, "{:<32} {before:>18} {after:>18} {share:>8.0} %", one.name)?;
    }
    let left = calibration.left;
    writeln!(
        out,
        "\nleft out of the model: melting points {:.2} K, holding {:.2}, firmness {:.2} (logarithms)",
        left.melt_shift_sd_k, left.holding_ln_sd, left.interplay_ln_sd
    )?;
    writeln!(out, "\n{:<10} {:>8} {:>8} {:>8}  row", "", "before", "after", "weight")?;
    for ((one, (before, after)), weight) in
        calibration.observations.iter().zip(&calibration.scores).zip(&calibration.weights)
    {
        writeln!(out, "{:<10} {before:>8.2} {after:>8.2} {weight:>8.2}  {}", one.row.id, one.row.formula_text)?;
    }
    Ok(())
}
