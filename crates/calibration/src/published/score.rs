//! Errors of predictions, by quantity and by what the rows may be used for.

use std::collections::BTreeMap;

use barwright_blend::Estimate;
use schemars::JsonSchema;
use serde::Serialize;
use statrs::statistics::{Data, OrderStatistics, RankTieBreaker, Statistics};

use super::group::Group;
use super::measurement::{Bound, Measurement, Quantity, Status, Use};
use super::predict::Scored;
use super::reproducibility;

/// How many of the worst rows a report names.
const WORST_ROWS: usize = 10;

/// Fewest formulas of one study that a rank correlation is worth.
const MIN_RANKED: usize = 4;

/// Errors of one group of rows.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Errors {
    /// What is scored.
    pub group: Group,
    /// What the rows may be used for.
    #[serde(rename = "use")]
    pub use_as: Use,
    /// How the values came into the table; `None`: any way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub status: Option<Status>,
    /// Point values.
    pub points: usize,
    /// Point values the model gives no figure for.
    pub without_prediction: usize,
    /// Mean error, prediction less measurement.
    pub bias: f64,
    /// Mean absolute error.
    pub mean_absolute: f64,
    /// Root mean square error.
    pub rmse: f64,
    /// The same before the present round of work, see [`super::before`].
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rmse_before: Option<f64>,
    /// Its standard error, from the scatter of the squares; 0 for fewer than two values.
    pub rmse_error: f64,
    /// 75th percentile of the absolute errors.
    pub p75: f64,
    /// 95th percentile of the absolute errors.
    pub p95: f64,
    /// Largest absolute error.
    pub largest: f64,
    /// Share of point values inside their 90 % interval.
    pub inside_share: f64,
    /// Share inside when the error of the published value counts too, see [`super::reproducibility`].
    pub inside_with_test_share: f64,
    /// Mean width of the 90 % intervals; of their logarithms where errors are.
    pub mean_width: f64,
    /// Share of point values within a factor of 2, for quantities scored as ratios.
    pub within_factor_two: Option<f64>,
    /// Bounds stated, and how many of them the central prediction keeps.
    pub bounds: usize,
    /// Bounds kept.
    pub bounds_kept: usize,
}

/// Rank correlation of firmness inside one study.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Ranking {
    /// The study.
    pub study: String,
    /// What the rows may be used for.
    #[serde(rename = "use")]
    pub use_as: Use,
    /// Formulas ranked.
    pub formulas: usize,
    /// Spearman's correlation of measured and predicted firmness.
    pub spearman: f64,
}

/// One row, for the list of the worst and for plots.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Row {
    /// Unique name.
    pub id: String,
    /// What is scored.
    pub group: Group,
    /// What it may be used for.
    #[serde(rename = "use")]
    pub use_as: Use,
    /// How the value came into the table.
    pub status: Status,
    /// The formula as written.
    pub formula: String,
    /// Test temperature, °C.
    pub temperature_c: Option<f64>,
    /// Measured value.
    pub measured: f64,
    /// Its standard deviation, where the source states one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_sd: Option<f64>,
    /// Prediction.
    pub predicted: Option<Estimate>,
    /// Error: difference, or logarithm of the ratio.
    pub error: Option<f64>,
    /// Whether the measurement is inside the 90 % interval.
    pub inside: bool,
    /// Whether it is when the error of the measurement counts too.
    pub inside_with_test: bool,
}

/// Everything a score says.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Report {
    /// Errors by group, by what the rows may be used for.
    pub errors: Vec<Errors>,
    /// Errors of the unseen rows by group, by how their values came into the table.
    pub unseen_by_status: Vec<Errors>,
    /// Rank correlations by study.
    pub rankings: Vec<Ranking>,
    /// The worst rows of all, by error over the usual error of their group.
    pub worst: Vec<Row>,
    /// Rows not scored, and why.
    pub left_out: Vec<(String, String)>,
    /// Every scored point value.
    pub rows: Vec<Row>,
}

/// Scores predictions.
///
/// # Arguments
/// * `table`: the measurements.
/// * `scored`: their predictions, from [`super::predict()`].
pub fn score(table: &[Measurement], scored: &[Scored]) -> Report {
    let mut groups: BTreeMap<(Use, Group), Scores> = BTreeMap::new();
    let mut by_status: BTreeMap<(Status, Group), Scores> = BTreeMap::new();
    let mut ranks: BTreeMap<(&str, Use), Vec<(f64, f64)>> = BTreeMap::new();
    for one in scored {
        let row = &table[one.row];
        if let Some(pair) = firmness_pair(row, one) {
            ranks.entry((&row.study, row.use_as)).or_default().push(pair);
        }
        let Some(group) = Group::of(row) else { continue };
        let take = |scores: &mut Scores| match row.kind {
            Bound::Point => scores.points.push(compare(row, one, group)),
            Bound::Low => scores.bounds.push(one.predicted.is_some_and(|found| found.value >= row.value)),
            Bound::High => scores.bounds.push(one.predicted.is_none_or(|found| found.value <= row.value)),
        };
        take(groups.entry((row.use_as, group)).or_default());
        if row.use_as == Use::Unseen {
            take(by_status.entry((row.status, group)).or_default());
        }
    }
    let errors: Vec<Errors> =
        groups.iter().map(|((use_as, group), scores)| errors_of(*group, *use_as, None, scores)).collect();
    let unseen_by_status = by_status
        .iter()
        .map(|((status, group), scores)| errors_of(*group, Use::Unseen, Some(*status), scores))
        .collect();
    let rows: Vec<Row> = groups.into_values().flat_map(|scores| scores.points).collect();
    let usual = |row: &Row| {
        errors
            .iter()
            .find(|one| one.group == row.group && one.use_as == row.use_as)
            .map_or(1.0, |one| one.rmse.max(1e-9))
    };
    let size = |row: &Row| row.error.map_or(f64::INFINITY, |error| error.abs() / usual(row));
    let mut worst = rows.clone();
    worst.sort_by(|a, b| size(b).total_cmp(&size(a)).then_with(|| a.id.cmp(&b.id)));
    worst.truncate(WORST_ROWS);
    let rankings = ranks.into_iter().filter(|(_, pairs)| pairs.len() >= MIN_RANKED).map(|((study, use_as), pairs)| {
        Ranking { study: study.to_owned(), use_as, formulas: pairs.len(), spearman: spearman(&pairs) }
    });
    let left_out = table.iter().filter(|row| row.use_as == Use::LeftOut);
    Report {
        rankings: rankings.collect(),
        worst,
        left_out: left_out.map(|row| (row.id.clone(), row.reason.clone())).collect(),
        errors,
        unseen_by_status,
        rows,
    }
}

/// What was scored of one group.
#[derive(Debug, Default)]
struct Scores {
    points: Vec<Row>,
    /// Whether each bound is kept.
    bounds: Vec<bool>,
}

/// Measured and predicted firmness of a row, both rising with firmness.
fn firmness_pair(row: &Measurement, one: &Scored) -> Option<(f64, f64)> {
    let predicted = one.predicted?.value;
    match (row.kind, row.quantity) {
        (Bound::Point, Quantity::ForceN | Quantity::YieldKpa | Quantity::ConeYieldKpa) => Some((row.value, predicted)),
        (Bound::Point, Quantity::NeedleDmm) => Some((-row.value, -predicted)),
        _ => None,
    }
}

fn compare(row: &Measurement, one: &Scored, group: Group) -> Row {
    let error = one.predicted.and_then(|found| {
        let error = if group.logarithmic() { (found.value / row.value).ln() } else { found.value - row.value };
        error.is_finite().then_some(error)
    });
    Row {
        id: row.id.clone(),
        group,
        use_as: row.use_as,
        status: row.status,
        formula: row.formula_text.clone(),
        temperature_c: row.temperature_c,
        measured: row.value,
        measured_sd: row.sd,
        predicted: one.predicted,
        error,
        inside_with_test: one.predicted.is_some_and(|found| reproducibility::inside_with_test(row, &found)),
        inside: one.predicted.is_some_and(|found| found.low <= row.value && row.value <= found.high),
    }
}

fn errors_of(group: Group, use_as: Use, status: Option<Status>, scores: &Scores) -> Errors {
    let Scores { points, bounds } = scores;
    let found: Vec<f64> = points.iter().filter_map(|row| row.error).collect();
    let absolute: Vec<f64> = found.iter().map(|error| error.abs()).collect();
    let mut ordered = Data::new(absolute.clone());
    // A sum of nothing is -0: adding zero turns it into 0.
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64 + 0.0;
    let share = |holds: &dyn Fn(&Row) -> bool| {
        points.iter().filter(|row| holds(row)).count() as f64 / points.len().max(1) as f64
    };
    let squares: Vec<f64> = found.iter().map(|error| error * error).collect();
    let rmse = mean(&squares).sqrt();
    // Of the mean of the squares, carried through the root.
    let rmse_error = if squares.len() > 1 && rmse > 0.0 {
        squares.iter().std_dev() / (squares.len() as f64).sqrt() / (2.0 * rmse)
    } else {
        0.0
    };
    let width = |found: Estimate| {
        if group.logarithmic() { (found.high / found.low).ln() } else { found.high - found.low }
    };
    let widths: Vec<f64> =
        points.iter().filter_map(|row| row.predicted).map(width).filter(|width| width.is_finite()).collect();
    Errors {
        group,
        use_as,
        status,
        points: points.len(),
        without_prediction: points.len() - found.len(),
        bias: mean(&found),
        mean_absolute: mean(&absolute),
        rmse,
        rmse_before: None,
        rmse_error,
        mean_width: mean(&widths),
        p75: if found.is_empty() { 0.0 } else { ordered.quantile(0.75) },
        p95: if found.is_empty() { 0.0 } else { ordered.quantile(0.95) },
        largest: absolute.iter().copied().fold(0.0, f64::max),
        inside_share: share(&|row| row.inside),
        inside_with_test_share: share(&|row| row.inside_with_test),
        within_factor_two: group.logarithmic().then(|| {
            absolute.iter().filter(|&&error| error <= std::f64::consts::LN_2).count() as f64
                / points.len().max(1) as f64
        }),
        bounds: bounds.len(),
        bounds_kept: bounds.iter().filter(|&&kept| kept).count(),
    }
}

/// Spearman's rank correlation: Pearson's of the ranks, ties at their mean rank.
fn spearman(pairs: &[(f64, f64)]) -> f64 {
    let ranks = |of: fn(&(f64, f64)) -> f64| {
        Data::new(pairs.iter().map(of).collect::<Vec<f64>>()).ranks(RankTieBreaker::Average)
    };
    let (first, second) = (ranks(|pair| pair.0), ranks(|pair| pair.1));
    let spread = first.clone().population_std_dev() * second.clone().population_std_dev();
    if spread > 0.0 { first.population_covariance(second) / spread } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(measured: f64, predicted: Option<(f64, f64, f64)>, error: Option<f64>) -> Row {
        let predicted = predicted.map(|(low, value, high)| Estimate { value, low, high });
        let inside = predicted.is_some_and(|found| found.low <= measured && measured <= found.high);
        Row {
            id: String::new(),
            group: Group::Solids,
            use_as: Use::Unseen,
            status: Status::Read,
            formula: String::new(),
            temperature_c: None,
            measured,
            measured_sd: None,
            predicted,
            error,
            inside,
            inside_with_test: true,
        }
    }

    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-12, "{found} against {expected}");
    }

    #[test]
    fn errors_of_four_points_worked_by_hand() {
        let points = [
            row(10.0, Some((8.0, 12.0, 13.0)), Some(2.0)),
            row(20.0, Some((16.0, 17.0, 18.0)), Some(-3.0)),
            row(30.0, Some((29.0, 31.0, 33.0)), Some(1.0)),
            row(40.0, None, None),
        ];
        let errors = |group: Group, points: &[Row], bounds: &[bool]| {
            errors_of(group, Use::Unseen, None, &Scores { points: points.to_vec(), bounds: bounds.to_vec() })
        };
        let found = errors(Group::Solids, &points, &[true, false, true]);
        assert_eq!((found.points, found.without_prediction), (4, 1));
        near(found.bias, 0.0);
        near(found.mean_absolute, 2.0);
        near(found.rmse, (14.0_f64 / 3.0).sqrt());
        // Squares 4, 9 and 1: their standard deviation is the root of (0.67² + 4.33² + 3.67²) / 2.
        let sd = ((0.444_444_444_444 + 18.777_777_777_778 + 13.444_444_444_444) / 2.0_f64).sqrt();
        assert!((found.rmse_error - sd / 3_f64.sqrt() / (2.0 * found.rmse)).abs() < 1e-9);
        // Intervals of 5, 2 and 4.
        near(found.mean_width, 11.0 / 3.0);
        near(found.largest, 3.0);
        // Coverage is of all points: one without a prediction is not inside.
        near(found.inside_share, 0.5);
        near(found.inside_with_test_share, 1.0);
        assert_eq!((found.bounds, found.bounds_kept, found.within_factor_two), (3, 2, None));
        let ratios = errors(Group::Firmness, &points, &[]);
        // |ln 2| is 0.69: of 2, -3 and 1 none is within it; none without a prediction either.
        assert_eq!(ratios.within_factor_two, Some(0.0));
        let close = [row(1.0, Some((1.0, 1.0, 1.0)), Some(0.69)), row(1.0, None, None)];
        assert_eq!(errors(Group::Firmness, &close, &[]).within_factor_two, Some(0.5));
        let wide = [row(1.0, Some((1.0, 2.0, std::f64::consts::E)), Some(0.1)), row(1.0, Some((0.0, 1.0, 2.0)), None)];
        // The logarithm of e over 1; one that begins at nothing has no width to count.
        near(errors(Group::Firmness, &wide, &[]).mean_width, 1.0);
        let nothing = errors(Group::Solids, &[], &[]);
        assert_eq!((nothing.points, nothing.rmse, nothing.p95, nothing.inside_share), (0, 0.0, 0.0, 0.0));
        assert_eq!((nothing.rmse_error, nothing.mean_width), (0.0, 0.0));
    }

    #[test]
    fn spearman_of_the_textbook() {
        // Ten pairs worked in many a textbook: ρ = −29/165 (recalled).
        let first = [106.0, 100.0, 86.0, 101.0, 99.0, 103.0, 97.0, 113.0, 112.0, 110.0];
        let second = [7.0, 27.0, 2.0, 50.0, 28.0, 29.0, 20.0, 12.0, 6.0, 17.0];
        let pairs: Vec<(f64, f64)> = first.into_iter().zip(second).collect();
        near(spearman(&pairs), -29.0 / 165.0);
        near(spearman(&[(1.0, 10.0), (2.0, 20.0), (3.0, 30.0)]), 1.0);
        near(spearman(&[(1.0, 5.0), (2.0, 5.0)]), 0.0);
    }

    #[test]
    #[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    fn a_value_at_the_end_of_its_interval_is_inside_and_one_beyond_is_not() {
        let head = "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note\n";
        let line = |id: &str, value: f64, kind: &str| {
            format!("{id},s,cocoa-butter 100,tempered,solids_percent,20,{value},1,{kind},NMR,shukla1995,read,fit,,\n")
        };
        let text = [head.to_owned(), line("A", 70.0, "point"), line("B", 86.0, "point"), line("C", 90.0, "point")]
            .concat()
            + &line("D", 60.0, "low")
            + &line("E", 79.0, "high");
        let library = barwright_reference::Library::builtin().unwrap();
        let table = crate::published::measurement::read(&text, &library).unwrap();
        let predicted = Some(Estimate { value: 80.0, low: 70.0, high: 85.0 });
        let scored: Vec<Scored> = (0..table.len()).map(|row| Scored { row, predicted }).collect();
        let report = score(&table, &scored);
        let inside: Vec<_> =
            report.rows.iter().map(|row| (row.id.as_str(), row.inside, row.inside_with_test)).collect();
        // B is 6 points above 80, C is 10: the side of the interval is 5 and the test's own error 1.645 × 1.25, in all 5.4.
        assert_eq!(inside, [("A", true, true), ("B", false, false), ("C", false, false)]);
        let solids = &report.errors[0];
        assert_eq!((solids.points, solids.bounds, solids.bounds_kept), (3, 2, 1));
        near(solids.inside_share, 1.0 / 3.0);
        near(solids.bias, (10.0 - 6.0 - 10.0) / 3.0);
        assert_eq!(report.worst.len(), 3);
        assert!(report.rankings.is_empty() && report.unseen_by_status.is_empty());
    }

    #[test]
    #[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    fn unseen_rows_are_scored_by_how_they_came_into_the_table_and_others_are_not() {
        let head = "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note\n";
        let line = |id: &str, status: &str, used: &str, reason: &str| {
            format!(
                "{id},{id},cocoa-butter 100,tempered,solids_percent,20,70,1,point,NMR,shukla1995,{status},{used},{reason},\n"
            )
        };
        let text = [
            head.to_owned(),
            line("A", "read", "unseen", ""),
            line("B", "read", "unseen", ""),
            line("C", "recalled", "unseen", ""),
            line("D", "logged", "fit", ""),
            line("E", "read", "in-view", "set so"),
            line("F", "read", "apart", "supercooled"),
        ];
        let library = barwright_reference::Library::builtin().unwrap();
        let table = crate::published::measurement::read(&text.concat(), &library).unwrap();
        let predicted = Some(Estimate { value: 80.0, low: 70.0, high: 85.0 });
        let scored: Vec<Scored> = (0..table.len()).map(|row| Scored { row, predicted }).collect();
        let report = score(&table, &scored);
        let of = |list: &[Errors]| list.iter().map(|one| (one.use_as, one.status, one.points)).collect::<Vec<_>>();
        let apart = [(Use::Fit, None, 1), (Use::Unseen, None, 3), (Use::InView, None, 1), (Use::Apart, None, 1)];
        assert_eq!(of(&report.errors), apart);
        let unseen = [(Use::Unseen, Some(Status::Read), 2), (Use::Unseen, Some(Status::Recalled), 1)];
        assert_eq!(of(&report.unseen_by_status), unseen);
        for used in ["in-view", "apart", "left-out"] {
            let silent = [head, &line("A", "read", used, "")].concat();
            let faults = crate::published::measurement::read(&silent, &library).unwrap_err();
            assert!(faults[0].what.contains("keeps its written reason"), "{used}: {faults:?}");
        }
    }
}
