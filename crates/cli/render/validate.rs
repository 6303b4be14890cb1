//! The score of the predictions as text: the table first, then rank correlations, then the worst rows by name.

use std::io;

use barwright_validation::score::{Group, Row};
use barwright_validation::{Report, Use};

use super::capital;
use super::number::{interval, signed, significant};
use super::table::Sheet;
use crate::output::Output;

/// Writes the report.
pub fn write_report(output: &mut Output<'_>, report: &Report) -> io::Result<()> {
    output.title("Published measurements against predictions", "")?;
    output.blank()?;
    let unseen = report.errors.iter().filter(|one| one.use_as == Use::Unseen);
    let (points, inside) = unseen
        .fold((0, 0.0), |(points, inside), one| (points + one.points, inside + one.inside_share * one.points as f64));
    output.text(
        &format!(
            "{points} values that no parameter was set on: {:.0} of 100 lie inside their 90 % interval.",
            100.0 * inside / points.max(1) as f64
        ),
        2,
    )?;
    for (use_as, heading) in [
        (Use::Unseen, "Unseen: no parameter was set with these rows in view"),
        (Use::Fit, "Fitting rows: parameters may be set on these"),
    ] {
        write_errors(output, report, use_as, heading)?;
    }
    output.blank()?;
    output.text(
        "Columns: point values; mean error, prediction less measurement; mean absolute error; root mean square error; \
         absolute error of 75 and 95 in 100 and of the worst; share inside the 90 % interval; the same \
         when the error of the published value counts too; share within a factor of 2; \
         published bounds kept. An ln ratio of 0.69 is a factor of 2.",
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

fn write_errors(output: &mut Output<'_>, report: &Report, use_as: Use, heading: &str) -> io::Result<()> {
    output.heading(heading)?;
    let header = ["what", "n", "bias", "mean", "RMSE", "75 %", "95 %", "worst", "in 90 %", "+ test", "×2", "bounds"];
    let mut sheet =
        Sheet::new(&header).right(&[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]).whole(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    for one in report.errors.iter().filter(|one| one.use_as == use_as) {
        let any = one.points > one.without_prediction;
        let number = |value: f64| if any { significant(value, 2) } else { "–".to_owned() };
        let share = |value: f64| if any { format!("{:.0} %", 100.0 * value) } else { "–".to_owned() };
        sheet.row(&[
            format!("{}, {}", one.group.words(), one.group.unit()),
            one.points.to_string(),
            number(one.bias),
            number(one.mean_absolute),
            number(one.rmse),
            number(one.p75),
            number(one.p95),
            number(one.largest),
            share(one.inside_share),
            share(one.inside_with_test_share),
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
        let use_as = if one.use_as == Use::Fit { "fit" } else { "unseen" };
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
