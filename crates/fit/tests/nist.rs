//! The Statistical Reference Datasets of NIST: problems with certified answers, `tests/nist/`.
//!
//! Every nonlinear problem is fitted from both of NIST's starts with the default options. Digits reached, worst of all quantities: 8.8 or
//! more with analytic derivatives; by differences 7.4 for parameters and 7.0 for their spread. `--nocapture` prints the table.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use barwright_fit::{Fit, FitError, Options, Problem, fit_linear};
use nalgebra::DMatrix;
use std::convert::Infallible;

/// A nonlinear problem as its file has it.
struct Reference {
    starts: [Vec<f64>; 2],
    parameters: Vec<f64>,
    sds: Vec<f64>,
    sum_of_squares: f64,
    residual_sd: f64,
    x: Vec<f64>,
    y: Vec<f64>,
}

fn numbers(line: &str) -> Option<Vec<f64>> {
    let found: Result<Vec<f64>, _> = line.split_whitespace().map(str::parse).collect();
    found.ok().filter(|list| !list.is_empty())
}

fn parse(text: &str) -> Reference {
    let mut rows = Vec::new();
    let (mut sum_of_squares, mut residual_sd) = (f64::NAN, f64::NAN);
    let (mut x, mut y) = (Vec::new(), Vec::new());
    let data_line = text.lines().enumerate().filter(|(_, line)| line.starts_with("Data:")).last().unwrap().0;
    for line in text.lines().take(data_line) {
        if let Some((name, values)) = line.split_once('=')
            && name.trim().starts_with('b')
            && let Some(values) = numbers(values)
        {
            rows.push(values);
        } else if let Some(value) = line.strip_prefix("Residual Sum of Squares:") {
            sum_of_squares = value.trim().parse().unwrap();
        } else if let Some(value) = line.strip_prefix("Residual Standard Deviation:") {
            residual_sd = value.trim().parse().unwrap();
        }
    }
    for line in text.lines().skip(data_line + 1) {
        if let Some(values) = numbers(line) {
            y.push(values[0]);
            x.push(values[1]);
        }
    }
    let column = |k: usize| rows.iter().map(|row| row[k]).collect::<Vec<f64>>();
    Reference {
        starts: [column(0), column(1)],
        parameters: column(2),
        sds: column(3),
        sum_of_squares,
        residual_sd,
        x,
        y,
    }
}

/// Value of a model and its derivatives.
type Model = fn(&[f64], f64, &mut [f64]) -> f64;

fn misra1a(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let e = (-b[1] * x).exp();
    d.copy_from_slice(&[1.0 - e, b[0] * x * e]);
    b[0] * (1.0 - e)
}

fn chwirut2(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let (e, below) = ((-b[0] * x).exp(), b[1] + b[2] * x);
    let y = e / below;
    d.copy_from_slice(&[-x * y, -y / below, -x * y / below]);
    y
}

fn lanczos3(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let mut y = 0.0;
    for k in [0, 2, 4] {
        let e = (-b[k + 1] * x).exp();
        (d[k], d[k + 1]) = (e, -b[k] * x * e);
        y += b[k] * e;
    }
    y
}

fn gauss1(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let e = (-b[1] * x).exp();
    (d[0], d[1]) = (e, -b[0] * x * e);
    let mut y = b[0] * e;
    for k in [2, 5] {
        let u = (x - b[k + 1]) / b[k + 2];
        let e = (-u * u).exp();
        (d[k], d[k + 1], d[k + 2]) = (e, b[k] * e * 2.0 * u / b[k + 2], b[k] * e * 2.0 * u * u / b[k + 2]);
        y += b[k] * e;
    }
    y
}

fn danwood(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let p = x.powf(b[1]);
    d.copy_from_slice(&[p, b[0] * p * x.ln()]);
    b[0] * p
}

fn mgh09(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let (above, below) = (x * x + x * b[1], x * x + x * b[2] + b[3]);
    let y = b[0] * above / below;
    d.copy_from_slice(&[above / below, b[0] * x / below, -y * x / below, -y / below]);
    y
}

fn cubic_over_cubic(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let above = b[0] + x * (b[1] + x * (b[2] + x * b[3]));
    let below = 1.0 + x * (b[4] + x * (b[5] + x * b[6]));
    let y = above / below;
    let powers = [1.0, x, x * x, x * x * x];
    for k in 0..4 {
        d[k] = powers[k] / below;
    }
    for k in 1..4 {
        d[k + 3] = -y * powers[k] / below;
    }
    y
}

fn mgh10(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let e = (b[1] / (x + b[2])).exp();
    let y = b[0] * e;
    d.copy_from_slice(&[e, y / (x + b[2]), -y * b[1] / (x + b[2]).powi(2)]);
    y
}

fn eckerle4(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let u = (x - b[2]) / b[1];
    let e = (-0.5 * u * u).exp() / b[1];
    let y = b[0] * e;
    d.copy_from_slice(&[e, y * (u * u - 1.0) / b[1], y * u / b[1]]);
    y
}

fn rat43(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let e = (b[1] - b[2] * x).exp();
    let y = b[0] * (1.0 + e).powf(-1.0 / b[3]);
    let slope = -y * e / (1.0 + e) / b[3];
    d.copy_from_slice(&[y / b[0], slope, -x * slope, y * e.ln_1p() / (b[3] * b[3])]);
    y
}

fn bennett5(b: &[f64], x: f64, d: &mut [f64]) -> f64 {
    let p = (b[1] + x).powf(-1.0 / b[2]);
    d.copy_from_slice(&[p, -b[0] * p / (b[2] * (b[1] + x)), b[0] * p * (b[1] + x).ln() / (b[2] * b[2])]);
    b[0] * p
}

fn problem(reference: &Reference, model: Model, n: usize, analytic: bool) -> Problem<'_, Infallible> {
    let problem = Problem::new(reference.y.len(), move |b: &[f64], r: &mut [f64]| {
        let mut unused = vec![0.0; n];
        for (i, r) in r.iter_mut().enumerate() {
            *r = model(b, reference.x[i], &mut unused) - reference.y[i];
        }
        Ok(())
    });
    if !analytic {
        return problem;
    }
    problem.jacobian(move |b, jacobian| {
        let mut row = vec![0.0; n];
        for (i, &x) in reference.x.iter().enumerate() {
            model(b, x, &mut row);
            for (j, &derivative) in row.iter().enumerate() {
                jacobian[(i, j)] = derivative;
            }
        }
        Ok(())
    })
}

fn fit(reference: &Reference, model: Model, start: &[f64], analytic: bool) -> Result<Fit, FitError<Infallible>> {
    problem(reference, model, start.len(), analytic).fit(start)
}

/// Digits that agree: NIST's log relative error, at most the 11 digits certified.
fn digits(found: f64, certified: f64) -> f64 {
    (-((found - certified) / certified).abs().log10()).min(11.0)
}

fn worst(found: &[f64], certified: &[f64]) -> f64 {
    assert_eq!(found.len(), certified.len());
    found.iter().zip(certified).map(|(f, c)| digits(*f, *c)).fold(f64::INFINITY, f64::min)
}

/// Digits every quantity must reach from both starts, with the derivatives given.
const ANALYTIC_DIGITS: f64 = 8.0;

/// Digits of the parameters, of the sum of squares and of the residual's standard deviation with derivatives by differences.
const DIFFERENCES_DIGITS: f64 = 7.0;

/// Digits of the standard deviations of the parameters with derivatives by differences, which they carry to first order.
const DIFFERENCES_SD_DIGITS: f64 = 6.5;

fn check(name: &str, text: &str, model: Model) {
    let reference = parse(text);
    for analytic in [true, false] {
        for (start, values) in reference.starts.iter().enumerate() {
            let fit = fit(&reference, model, values, analytic).unwrap();
            let parameters = worst(&fit.parameters, &reference.parameters);
            let sds = worst(&fit.standard_deviations, &reference.sds);
            let sum = digits(fit.sum_of_squares, reference.sum_of_squares)
                .min(digits(fit.residual_sd.unwrap(), reference.residual_sd));
            let told = format!(
                "{name} start {} {}: digits {parameters:.1} parameters, {sds:.1} their spread, {sum:.1} residual; {} steps, {} calls, {:?}",
                start + 1,
                if analytic { "analytic" } else { "differences" },
                fit.iterations,
                fit.evaluations,
                fit.stop
            );
            println!("{told}");
            let (least, least_sd) =
                if analytic { (ANALYTIC_DIGITS, ANALYTIC_DIGITS) } else { (DIFFERENCES_DIGITS, DIFFERENCES_SD_DIGITS) };
            assert!(parameters >= least && sum >= least && sds >= least_sd, "{told}");
        }
    }
}

macro_rules! nonlinear {
    ($($(#[$note:meta])* $test:ident: $file:literal, $model:expr;)*) => {
        $($(#[$note])* #[test]
        fn $test() {
            check($file, include_str!(concat!("nist/", $file, ".dat")), $model);
        })*
    };
}

nonlinear! {
    misra1a_lower_difficulty: "Misra1a", misra1a;
    chwirut2_lower_difficulty: "Chwirut2", chwirut2;
    /// Six parameters of three nearly alike exponentials: by differences it stops where rounding does not let it go on.
    lanczos3_lower_difficulty: "Lanczos3", lanczos3;
    gauss1_lower_difficulty: "Gauss1", gauss1;
    danwood_lower_difficulty: "DanWood", danwood;
    /// Start 1 is a hundred times off in every parameter.
    mgh09_higher_difficulty: "MGH09", mgh09;
    hahn1_average_difficulty: "Hahn1", cubic_over_cubic;
    thurber_higher_difficulty: "Thurber", cubic_over_cubic;
    /// Start 1 is hard: the first parameter 400 times off, in a curved valley of 242 steps.
    mgh10_higher_difficulty: "MGH10", mgh10;
    /// Start 1 is hard: the peak begins 50 away from where it is, with a width of 4. The step of the differences follows the position,
    /// which is large against the width: 7 digits of spread.
    eckerle4_higher_difficulty: "Eckerle4", eckerle4;
    rat43_higher_difficulty: "Rat43", rat43;
    /// Both starts are slow, 744 and 194 steps: three parameters that nearly stand in for each other.
    bennett5_higher_difficulty: "Bennett5", bennett5;
}

/// The first region must not decide whether a start converges.
#[test]
fn the_first_region_may_be_a_tenth_or_a_hundred() {
    for region in [0.1, 10.0, 100.0] {
        for (text, model) in [
            (include_str!("nist/MGH10.dat"), mgh10 as Model),
            (include_str!("nist/Eckerle4.dat"), eckerle4),
            (include_str!("nist/Lanczos3.dat"), lanczos3),
        ] {
            let reference = parse(text);
            for start in &reference.starts {
                let options = Options { first_region: region, ..Options::default() };
                let fit = problem(&reference, model, start.len(), true).options(options).fit(start).unwrap();
                assert!(worst(&fit.parameters, &reference.parameters) >= ANALYTIC_DIGITS);
            }
        }
    }
}

/// NIST certifies 15 digits for linear problems.
fn linear_digits(found: f64, certified: f64) -> f64 {
    (-((found - certified) / certified).abs().log10()).min(15.0)
}

#[test]
fn norris_is_met_to_twelve_digits() {
    let text = include_str!("nist/Norris.dat");
    let value = |name: &str, column: usize| {
        let line = text.lines().find(|line| line.trim_start().starts_with(name)).unwrap();
        line.split_whitespace().rev().nth(column).unwrap().parse::<f64>().unwrap()
    };
    let (data_line, _) = text.lines().enumerate().filter(|(_, line)| line.starts_with("Data:")).last().unwrap();
    let rows: Vec<Vec<f64>> = text.lines().skip(data_line + 1).filter_map(numbers).collect();
    assert_eq!(rows.len(), 36);
    let design = DMatrix::from_fn(rows.len(), 2, |i, j| if j == 0 { 1.0 } else { rows[i][1] });
    let y: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    let fit = fit_linear(&design, &y).unwrap();
    let pairs = [
        (fit.parameters[0], value("B0", 1)),
        (fit.parameters[1], value("B1", 1)),
        (fit.standard_deviations[0], value("B0", 0)),
        (fit.standard_deviations[1], value("B1", 0)),
        (fit.residual_sd, value("Standard Deviation   0", 0)),
        (fit.r_squared, value("R-Squared", 0)),
        (fit.sum_of_squares, 26.6173985294224), // of the analysis of variance in the file
    ];
    let least = pairs.iter().map(|&(f, c)| linear_digits(f, c)).fold(f64::INFINITY, f64::min);
    println!("Norris: {least:.1} digits");
    assert!(least >= 12.0, "{least}: {pairs:?}");
}

/// Data from `longley.csv`, certified values as statsmodels has them from NIST, see `nist/README.md`.
#[test]
fn longley_is_met_to_ten_digits() {
    let certified = [
        (-3482258.63459582, 890420.383607373),
        (15.0618722713733, 84.9149257747669),
        (-0.358191792925910E-01, 0.334910077722432E-01),
        (-2.02022980381683, 0.488399681651699),
        (-1.03322686717359, 0.214274163161675),
        (-0.511041056535807E-01, 0.226073200069370),
        (1829.15146461355, 455.478499142212),
    ];
    let rows: Vec<Vec<f64>> = include_str!("nist/longley.csv")
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 16);
    let design = DMatrix::from_fn(16, 7, |i, j| if j == 0 { 1.0 } else { rows[i][j + 1] });
    let y: Vec<f64> = rows.iter().map(|row| row[1]).collect();
    let fit = fit_linear(&design, &y).unwrap();
    let mut pairs = vec![
        (fit.residual_sd, 92936.0061673238_f64.sqrt()),
        (fit.sum_of_squares, 836424.055505915),
        (fit.r_squared, 0.995479004577296),
    ];
    for (j, &(parameter, sd)) in certified.iter().enumerate() {
        pairs.push((fit.parameters[j], parameter));
        pairs.push((fit.standard_deviations[j], sd));
    }
    let least = pairs.iter().map(|&(f, c)| linear_digits(f, c)).fold(f64::INFINITY, f64::min);
    println!("Longley: {least:.1} digits");
    assert!(least >= 10.0, "{least}: {pairs:?}");
}
