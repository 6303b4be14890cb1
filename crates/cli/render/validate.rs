//! The score of the predictions as text: the table first, then rank correlations, then the worst rows by name.

use std::io;

use barwright_calibration::published::group::Group;
use barwright_calibration::published::score::{Errors, Row};
use barwright_calibration::published::{Report, Status, Use};

use super::capital;
use super::table::Sheet;
use crate::output::Output;
use barwright_answer::words::number::{interval, signed, significant};

/// Writes the report.
pub fn write_report(output: &mut Output<'_>, report: &Report) -> io::Result<()> {
    output.title("Published measurements against predictions", "")?;
    output.blank()?;
    let read = |status: Status| {
        let errors = report.unseen_by_status.iter().filter(move |one| one.status == Some(status));
        errors.fold((0, 0.0), |(points, inside), one| {
            (points + one.points, inside + one.inside_share * one.points as f64)
        })
    };
    let ((points, inside), (quoted, quoted_inside)) = (read(Status::Read), read(Status::Recalled));
    output.text(
        &format!(
            "Of {points} unseen values read in their publication, {inside:.0} lie inside their 90 % interval; of {quoted} quoted from \
             memory, {quoted_inside:.0}."
        ),
        2,
    )?;
    for (status, heading) in [
        (Status::Read, "Unseen, read in the publication: no parameter was fitted and no table set with these in view"),
        (Status::Recalled, "Unseen, quoted from memory"),
        (Status::Logged, "Unseen, from the log of a plant"),
    ] {
        write_errors(output, report.unseen_by_status.iter().filter(|one| one.status == Some(status)), heading)?;
    }
    for (use_as, heading) in [
        (
            Use::InView,
            "Set in view: no parameter was fitted on these, but a figure of the tables was set with them in view",
        ),
        (Use::Fit, "Fitting rows: parameters may be set on these"),
        (Use::Apart, "Apart: doubtful figures and supercooled oils, outside what the model claims"),
    ] {
        write_errors(output, report.errors.iter().filter(|one| one.use_as == use_as), heading)?;
    }
    output.blank()?;
    output.text(
        "Columns: point values; mean error, prediction less measurement; mean absolute error; root mean square error, its \
         standard error, and what it was for the same rows before this round of work; absolute error of 95 in 100 and of the worst; share inside the 90 % interval; the same \
         when the error of the published value counts too; mean width of that interval; share within a factor of 2; \
         published bounds kept. An ln ratio of 0.69 is a factor of 2. An interval that is right because it is wide is no success: \
         look at the width, too.",
        2,
    )?;
    write_rankings(output, report)?;
    output.heading("The worst rows, by error over the usual error of their group")?;
    rows(output, &report.worst)?;
    if !report.left_out.is_empty() {
        output.blank()?;
        output.text(&format!("{} rows are left out, each with its reason in the table.", report.left_out.len()), 2)?;
    }
    Ok(())
}

/// Writes every scored row.
pub fn write_rows(output: &mut Output<'_>, report: &Report) -> io::Result<()> {
    output.heading("Every row")?;
    rows(output, &report.rows)
}

fn write_errors<'a>(
    output: &mut Output<'_>,
    errors: impl Iterator<Item = &'a Errors>,
    heading: &str,
) -> io::Result<()> {
    let errors: Vec<&Errors> = errors.collect();
    if errors.is_empty() {
        return Ok(());
    }
    output.heading(heading)?;
    let header = [
        "what", "n", "bias", "mean", "RMSE", "±", "was", "95 %", "worst", "in 90 %", "+ test", "width", "×2", "bounds",
    ];
    let mut sheet = Sheet::new(&header)
        .right(&[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13])
        .whole(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
    for one in errors {
        let any = one.points > one.without_prediction;
        let number = |value: f64| if any { significant(value, 2) } else { "–".to_owned() };
        let share = |value: f64| if any { format!("{:.0} %", 100.0 * value) } else { "–".to_owned() };
        sheet.row(&[
            format!("{}, {}", one.group.words(), one.group.unit()),
            one.points.to_string(),
            number(one.bias),
            number(one.mean_absolute),
            number(one.rmse),
            if one.rmse_error > 0.0 { significant(one.rmse_error, 1) } else { String::new() },
            one.rmse_before.map_or_else(String::new, |rmse| significant(rmse, 2)),
            number(one.p95),
            number(one.largest),
            share(one.inside_share),
            share(one.inside_with_test_share),
            number(one.mean_width),
            one.within_factor_two.map_or_else(String::new, share),
            if one.bounds == 0 { String::new() } else { format!("{}/{}", one.bounds_kept, one.bounds) },
        ]);
    }
    sheet.write(output)
}

fn write_rankings(output: &mut Output<'_>, report: &Report) -> io::Result<()> {
    if report.rankings.is_empty() {
        return Ok(());
    }
    output.heading("Order of firmness inside one study")?;
    let mut sheet = Sheet::new(&["study", "rows", "formulas", "rank correlation"]).right(&[2, 3]);
    for one in &report.rankings {
        let use_as = match one.use_as {
            Use::Fit => "fit",
            Use::Unseen => "unseen",
            Use::InView => "set in view",
            Use::Apart => "apart",
            Use::LeftOut => "left out",
        };
        sheet.row(&[one.study.clone(), use_as.to_owned(), one.formulas.to_string(), format!("{:.2}", one.spearman)]);
    }
    sheet.write(output)
}

fn rows(output: &mut Output<'_>, rows: &[Row]) -> io::Result<()> {
    let mut sheet = Sheet::new(&["row", "what", "formula", "at °C", "measured", "predicted", "error"])
        .right(&[3, 4, 6])
        .whole(&[0, 3, 4, 5, 6]);
    for row in rows {
        let digits = if matches!(row.group, Group::Melting | Group::GelMelting) { 3 } else { 2 };
        sheet.row(&[
            row.id.clone(),
            capital(row.group.words()),
            row.formula.clone(),
            row.temperature_c.map_or_else(String::new, |celsius| significant(celsius, 3)),
            significant(row.measured, digits),
            row.predicted
                .map_or_else(|| "none".to_owned(), |found| interval(&found, |value| significant(value, digits))),
            row.error.map_or_else(|| "–".to_owned(), |error| signed(error, 1)),
        ]);
    }
    sheet.write(output)
}
