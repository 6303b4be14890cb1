//! Fits the blend model to published measurements and writes its parameter file.

use std::error::Error;
use std::fs;
use std::io::Write;
use std::path::PathBuf;

use barwright_blend::Parameters;
use barwright_calibration::fit::held_out::held_out;
use barwright_calibration::fit::packing::Choice;
use barwright_calibration::fit::{Calibration, calibrate, write};
use barwright_calibration::published::group::Group;
use barwright_calibration::published::{Report, known_off, measurement, predict, samples};
use barwright_reference::Library;
use clap::{Parser, ValueEnum};

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
    /// Write nothing: leave out one source of this quantity after the other, fit again, and score its rows
    #[arg(long, value_name = "QUANTITY")]
    held_out: Option<Quantity>,
}

/// What can be scored source by source.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Quantity {
    Solids,
    Melting,
    Gels,
    Firmness,
    Gelling,
}

impl Quantity {
    fn group(self) -> Group {
        match self {
            Quantity::Solids => Group::Solids,
            Quantity::Melting => Group::Melting,
            Quantity::Gels => Group::GelMelting,
            Quantity::Firmness => Group::Firmness,
            Quantity::Gelling => Group::Gelling,
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = Arguments::parse();
    let library = Library::builtin().map_err(|faults| lines(&faults))?;
    let library = samples::with_samples(&library)
        .map_err(|faults| faults.into_iter().map(|fault| fault.message).collect::<Vec<_>>().join("\n"))?;
    let text = fs::read_to_string(&arguments.priors)?;
    let priors = Parameters::from_toml(&text)?;
    let table = measurement::read(&fs::read_to_string(&arguments.table)?, &library).map_err(|faults| lines(&faults))?;
    if let Some(quantity) = arguments.held_out {
        // The packings are those of the fit with all rows: to search again for every source takes hours.
        let mut priors = priors;
        let chosen = Parameters::from_toml(&fs::read_to_string(&arguments.out)?)?.packings;
        for packing in &mut priors.packings {
            packing.chosen = chosen.iter().any(|one| one.chosen && one.name == packing.name);
        }
        let report = held_out(&library, &priors, &table, quantity.group())?;
        return Ok(report_held_out(&report, &mut std::io::stdout().lock())?);
    }
    let calibration = calibrate(&library, &priors, &table, Choice::Search)?;
    let model = write::model_toml(&text, &calibration)?;
    let scored = predict(&library, &Parameters::from_toml(&model)?, &table, 0)?;
    let model = write::with_known_off(&model, &known_off(&library, &table, &scored))?;
    Parameters::from_toml(&model)?;
    fs::write(&arguments.out, model)?;
    report(&calibration, &mut std::io::stdout().lock())?;
    Ok(())
}

fn lines<T: ToString>(faults: &[T]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

fn report_held_out(report: &Report, out: &mut impl Write) -> std::io::Result<()> {
    for errors in &report.errors {
        writeln!(
            out,
            "{} rows of {} ({}), each predicted without its source: bias {:.2}, mean absolute {:.2}, RMSE {:.2}, {:.0} % inside the 90 % \
             interval, {:.0} % when the test's own error counts too",
            errors.points,
            errors.group.words(),
            errors.group.unit(),
            errors.bias,
            errors.mean_absolute,
            errors.rmse,
            100.0 * errors.inside_share,
            100.0 * errors.inside_with_test_share
        )?;
        if let Some(share) = errors.within_factor_two {
            writeln!(out, "{:.0} % within a factor of 2", 100.0 * share)?;
        }
    }
    for row in &report.rows {
        let predicted = row.predicted.map_or(f64::NAN, |found| found.value);
        writeln!(out, "{:<10} measured {:>8.3}  predicted {predicted:>8.3}  {}", row.id, row.measured, row.formula)?;
    }
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
    writeln!(out, "\n{:<36} {:>8} {:>10}  taken", "packing", "change of F", "loss")?;
    for one in &calibration.packings {
        let taken = if one.chosen { "yes" } else { "no" };
        writeln!(out, "{:<36} {:>11.1} {:>8.0} %  {taken}", one.name, one.change, 100.0 * one.loss)?;
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
