//! What must hold for any fit.

#![allow(clippy::unwrap_used)]

use barwright_fit::least_squares::Side;
use barwright_fit::{Bounds, FitError, Noise, Options, Prior, Problem, Stop, fit_linear};
use nalgebra::DMatrix;
use proptest::prelude::*;
use std::convert::Infallible;

const KNOWN: Options = Options {
    offset_tolerance: barwright_fit::least_squares::OFFSET_TOLERANCE,
    step_tolerance: barwright_fit::least_squares::STEP_TOLERANCE,
    gain_tolerance: 0.0,
    max_iterations: barwright_fit::least_squares::MAX_ITERATIONS,
    first_region: barwright_fit::least_squares::FIRST_REGION,
    noise: Noise::Known,
};

fn linear_residuals<'a>(
    design: &'a DMatrix<f64>,
    y: &'a [f64],
) -> impl Fn(&[f64], &mut [f64]) -> Result<(), Infallible> + 'a {
    move |p, r| {
        for (i, r) in r.iter_mut().enumerate() {
            *r = design.row(i).iter().zip(p).map(|(x, b)| x * b).sum::<f64>() - y[i];
        }
        Ok(())
    }
}

/// Times and a decay with a background, at three figures.
fn decay(t: &[f64], y: &[f64]) -> impl Fn(&[f64], &mut [f64]) -> Result<(), Infallible> {
    let (t, y) = (t.to_vec(), y.to_vec());
    move |p, r| {
        for (i, r) in r.iter_mut().enumerate() {
            *r = p[0] * (-p[1] * t[i]).exp() + p[2] - y[i];
        }
        Ok(())
    }
}

const TIMES: [f64; 8] = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];
const VALUES: [f64; 8] = [3.02, 2.27, 1.72, 1.39, 1.09, 0.80, 0.66, 0.49];

fn matrix(rows: usize, columns: usize) -> impl Strategy<Value = DMatrix<f64>> {
    prop::collection::vec(-1.0..1.0f64, rows * columns).prop_map(move |list| {
        let mut matrix = DMatrix::from_vec(rows, columns, list);
        for j in 0..columns {
            matrix[(j, j)] += 4.0; // well away from singular
        }
        matrix
    })
}

fn close(a: f64, b: f64, relative: f64, absolute: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()) + absolute
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_linear_problem_has_one_answer(
        design in matrix(9, 3),
        y in prop::collection::vec(-5.0..5.0f64, 9),
        start in prop::collection::vec(-100.0..100.0f64, 3),
        analytic: bool,
    ) {
        let linear = fit_linear(&design, &y).unwrap();
        let tolerance = if analytic { 1e-8 } else { 1e-6 };
        let mut problem = Problem::new(9, linear_residuals(&design, &y));
        if analytic {
            let copy = design.clone();
            problem = problem.jacobian(move |_, jacobian| { jacobian.copy_from(&copy); Ok(()) });
        }
        let fit = problem.fit(&start).unwrap();
        for j in 0..3 {
            prop_assert!(close(fit.parameters[j], linear.parameters[j], tolerance, tolerance));
            prop_assert!(close(fit.standard_deviations[j], linear.standard_deviations[j], tolerance, 0.0));
        }
        prop_assert!(close(fit.sum_of_squares, linear.sum_of_squares, 1e-9, 0.0));
        prop_assert!(close(fit.residual_sd.unwrap(), linear.residual_sd, 1e-9, 0.0));
        let (a, b) = (fit.interval(1, 0.9).unwrap(), linear.interval(1, 0.9).unwrap());
        prop_assert!(close(a.0, b.0, tolerance, tolerance) && close(a.1, b.1, tolerance, tolerance));
    }

    #[test]
    fn priors_are_the_weighted_mean_of_what_is_known(
        design in matrix(7, 2),
        y in prop::collection::vec(-5.0..5.0f64, 7),
        mean in -3.0..3.0f64,
        sd in 0.01..10.0f64,
    ) {
        // (XᵀX + P) b = Xᵀ y + P mean, formed here only
        let copy = design.clone();
        let fit = Problem::new(7, linear_residuals(&design, &y))
            .jacobian(move |_, jacobian| { jacobian.copy_from(&copy); Ok(()) })
            .priors(vec![Some(Prior { mean, sd }), None])
            .options(KNOWN)
            .fit(&[0.3, 0.3])
            .unwrap();
        let mut normal = design.tr_mul(&design);
        normal[(0, 0)] += 1.0 / (sd * sd);
        let mut rhs = design.tr_mul(&DMatrix::from_column_slice(7, 1, &y));
        rhs[(0, 0)] += mean / (sd * sd);
        let covariance = normal.try_inverse().unwrap();
        let expected = &covariance * rhs;
        for j in 0..2 {
            prop_assert!(close(fit.parameters[j], expected[(j, 0)], 1e-7, 1e-7));
            prop_assert!(close(fit.covariance[(j, j)], covariance[(j, j)], 1e-8, 0.0));
        }
        prop_assert!(close(fit.information[0].prior, covariance[(0, 0)] / (sd * sd), 1e-8, 0.0));
        prop_assert!((fit.information[0].prior + fit.information[0].data - 1.0).abs() < 1e-12);
        prop_assert_eq!(fit.information[1].prior, 0.0);
        let data = design.tr_mul(&design).try_inverse().unwrap();
        prop_assert!(close(fit.data_covariance.unwrap()[(0, 0)], data[(0, 0)], 1e-8, 0.0));
        prop_assert_eq!(fit.degrees_of_freedom, 6);
    }

    #[test]
    fn a_tight_prior_pins_its_parameter(mean in 0.1..2.0f64) {
        let fit = Problem::new(8, decay(&TIMES, &VALUES))
            .weights(vec![1e4; 8])
            .priors(vec![None, Some(Prior { mean, sd: 1e-7 }), None])
            .options(KNOWN)
            .fit(&[1.0, 1.0, 0.0])
            .unwrap();
        prop_assert!((fit.parameters[1] - mean).abs() < 1e-6);
        prop_assert!(fit.information[1].prior > 0.999);
        prop_assert!(close(fit.standard_deviations[1], 1e-7, 1e-3, 0.0));
    }

    #[test]
    fn a_vague_prior_changes_nothing(mean in -10.0..10.0f64) {
        let plain = Problem::new(8, decay(&TIMES, &VALUES)).weights(vec![1e4; 8]).options(KNOWN).fit(&[1.0, 1.0, 0.0]).unwrap();
        let fit = Problem::new(8, decay(&TIMES, &VALUES))
            .weights(vec![1e4; 8])
            .priors(vec![Some(Prior { mean, sd: 1e6 }); 3])
            .options(KNOWN)
            .fit(&[1.0, 1.0, 0.0])
            .unwrap();
        for j in 0..3 {
            prop_assert!(close(fit.parameters[j], plain.parameters[j], 1e-7, 0.0));
            prop_assert!(fit.information[j].data > 0.999_999);
        }
    }

    #[test]
    fn the_unit_of_a_parameter_does_not_matter(exponents in prop::collection::vec(-9.0..9.0f64, 3)) {
        let units: Vec<f64> = exponents.iter().map(|e| 10f64.powf(*e)).collect();
        let plain = Problem::new(8, decay(&TIMES, &VALUES)).fit(&[1.0, 1.0, 0.1]).unwrap();
        let inner = decay(&TIMES, &VALUES);
        let scaled = units.clone();
        let fit = Problem::new(8, move |p: &[f64], r: &mut [f64]| {
            let p: Vec<f64> = p.iter().zip(&scaled).map(|(x, u)| x / u).collect();
            inner(&p, r)
        })
        .fit(&[units[0], units[1], 0.1 * units[2]])
        .unwrap();
        prop_assert_eq!(fit.iterations, plain.iterations);
        for (j, unit) in units.iter().enumerate() {
            prop_assert!(close(fit.parameters[j] / unit, plain.parameters[j], 1e-8, 0.0));
            prop_assert!(close(fit.standard_deviations[j] / unit, plain.standard_deviations[j], 1e-7, 0.0));
        }
    }

    #[test]
    fn a_weight_is_a_repeated_measurement(repeats in 2usize..5) {
        let mut weights = vec![1.0; 8];
        weights[3] = repeats as f64;
        let weighted = Problem::new(8, decay(&TIMES, &VALUES)).weights(weights).fit(&[1.0, 1.0, 0.0]).unwrap();
        let (mut t, mut y) = (TIMES.to_vec(), VALUES.to_vec());
        t.extend(vec![TIMES[3]; repeats - 1]);
        y.extend(vec![VALUES[3]; repeats - 1]);
        let repeated = Problem::new(t.len(), decay(&t, &y)).fit(&[1.0, 1.0, 0.0]).unwrap();
        for j in 0..3 {
            prop_assert!(close(weighted.parameters[j], repeated.parameters[j], 1e-7, 0.0));
        }
        prop_assert!(close(weighted.sum_of_squares, repeated.sum_of_squares, 1e-9, 0.0));
    }

    #[test]
    fn bounds_hold_and_the_rest_is_optimal(upper in 0.1..0.55f64) {
        // the free optimum has a rate of 0.70
        let fit = Problem::new(8, decay(&TIMES, &VALUES))
            .bounds(vec![Bounds::NONE, Bounds::new(0.05, upper), Bounds::NONE])
            .fit(&[1.0, 3.0, 0.0])
            .unwrap();
        prop_assert_eq!(fit.parameters[1], upper);
        prop_assert_eq!(fit.at_bound[1], Some(Side::Upper));
        prop_assert_eq!((fit.standard_deviations[1], fit.information[1].data), (0.0, 0.0));
        prop_assert_eq!(fit.interval(1, 0.9), None);
        let design = DMatrix::from_fn(8, 2, |i, j| if j == 0 { (-upper * TIMES[i]).exp() } else { 1.0 });
        let given = fit_linear(&design, &VALUES).unwrap();
        prop_assert!(close(fit.parameters[0], given.parameters[0], 1e-7, 0.0));
        prop_assert!(close(fit.parameters[2], given.parameters[1], 1e-7, 1e-7));
        prop_assert!(close(fit.standard_deviations[0], given.standard_deviations[0], 1e-7, 0.0));
    }
}

#[test]
fn the_same_problem_gives_the_same_bits() {
    let run = || Problem::new(8, decay(&TIMES, &VALUES)).fit(&[1.0, 1.0, 0.0]).unwrap();
    assert_eq!(run(), run());
}

#[test]
fn bounds_that_are_not_reached_change_nothing() {
    let free = Problem::new(8, decay(&TIMES, &VALUES)).fit(&[1.0, 1.0, 0.0]).unwrap();
    let wide = vec![Bounds::new(-100.0, 100.0); 3];
    let boxed = Problem::new(8, decay(&TIMES, &VALUES)).bounds(wide).fit(&[1.0, 1.0, 0.0]).unwrap();
    for j in 0..3 {
        assert!(close(free.parameters[j], boxed.parameters[j], 1e-8, 0.0));
    }
    assert_eq!(boxed.at_bound, [None; 3]);
}

#[test]
fn a_fit_leaves_a_bound_it_started_at() {
    let bounds = vec![Bounds::NONE, Bounds::new(0.0, 5.0), Bounds::NONE];
    let fit = Problem::new(8, decay(&TIMES, &VALUES)).bounds(bounds).fit(&[1.0, 0.0, 0.0]).unwrap();
    let free = Problem::new(8, decay(&TIMES, &VALUES)).fit(&[1.0, 1.0, 0.0]).unwrap();
    assert!(close(fit.parameters[1], free.parameters[1], 1e-7, 0.0), "{:?}", fit.parameters);
}

#[test]
fn an_exact_model_stops_as_such() {
    let y: Vec<f64> = TIMES.iter().map(|t| 2.0 * (-0.5 * t).exp() + 0.25).collect();
    let fit = Problem::new(8, decay(&TIMES, &y)).fit(&[1.0, 1.0, 0.0]).unwrap();
    assert!(matches!(fit.stop, Stop::ExactFit | Stop::SmallStep | Stop::Rounding | Stop::RelativeOffset));
    for (found, truth) in fit.parameters.iter().zip([2.0, 0.5, 0.25]) {
        assert!(close(*found, truth, 1e-10, 0.0), "{:?}", fit.parameters);
    }
    let at_truth = Problem::new(8, decay(&TIMES, &y)).fit(&[2.0, 0.5, 0.25]).unwrap();
    assert_eq!((at_truth.stop, at_truth.sum_of_squares), (Stop::ExactFit, 0.0));
}

#[test]
fn what_the_data_do_not_fix_is_named() {
    // only the product of the first two counts
    let product = |p: &[f64], r: &mut [f64]| {
        for (i, r) in r.iter_mut().enumerate() {
            *r = p[0] * p[1] * TIMES[i] + p[2] - VALUES[i];
        }
        Ok::<(), Infallible>(())
    };
    let error = Problem::new(8, product).fit(&[0.7, 1.3, 0.0]).unwrap_err();
    assert!(matches!(error, FitError::Singular { column: 0 | 1, pivot, .. } if pivot < 1e-10), "{error}");
    // one prior settles it
    let priors = vec![Some(Prior { mean: 0.7, sd: 0.1 }), None, None];
    let fit = Problem::new(8, product).priors(priors).options(KNOWN).fit(&[0.7, 1.3, 0.0]).unwrap();
    assert_eq!(fit.data_covariance, None);
    assert!((fit.information[0].prior - 1.0).abs() < 1e-6);
    // and a parameter nothing depends on
    let error = Problem::new(3, |p: &[f64], r: &mut [f64]| {
        r.copy_from_slice(&[p[0] - 1.0, p[0] - 2.0, p[0] - 4.0]);
        Ok::<(), Infallible>(())
    })
    .fit(&[0.0, 5.0])
    .unwrap_err();
    assert!(matches!(error, FitError::Singular { column: 1, .. }), "{error}");
}

#[test]
fn what_is_not_finite_is_told_with_its_place() {
    let error = Problem::new(2, |p: &[f64], r: &mut [f64]| {
        r.copy_from_slice(&[p[0], p[0].ln()]);
        Ok::<(), Infallible>(())
    })
    .fit(&[-2.0])
    .unwrap_err();
    assert_eq!(error.to_string(), "residual 1 is NaN at [-2.0]");
    // a step to where the model does not exist is shortened instead
    let fit = Problem::new(2, |p: &[f64], r: &mut [f64]| {
        r.copy_from_slice(&[p[0].ln() + 3.0, 0.01 * p[0].sqrt()]);
        Ok::<(), Infallible>(())
    })
    .fit(&[20.0])
    .unwrap();
    assert!((fit.parameters[0] - (-3f64).exp()).abs() < 1e-3, "{:?}", fit.parameters);
}

#[test]
fn bad_input_is_refused_with_numbers() {
    let problem = || Problem::new(8, decay(&TIMES, &VALUES));
    let start = [1.0, 1.0, 0.0];
    let told = |result: Result<barwright_fit::Fit, FitError<Infallible>>| result.unwrap_err().to_string();
    assert_eq!(told(problem().weights(vec![1.0; 7]).fit(&start)), "7 weights given, 8 needed");
    assert_eq!(told(problem().bounds(vec![Bounds::NONE; 2]).fit(&start)), "2 bounds given, 3 needed");
    let bounds = vec![Bounds::NONE, Bounds::new(2.0, 1.0), Bounds::NONE];
    assert_eq!(told(problem().bounds(bounds).fit(&start)), "upper bound 1 is 1, must not be below the lower one");
    let priors = vec![Some(Prior { mean: 0.0, sd: 0.0 }), None, None];
    assert_eq!(
        told(problem().priors(priors.clone()).options(KNOWN).fit(&start)),
        "standard deviation of the prior of parameter 0 is 0, must be positive"
    );
    let good = vec![Some(Prior { mean: 0.0, sd: 1.0 }), None, None];
    assert_eq!(problem().priors(good).fit(&start), Err(FitError::PriorNeedsKnownNoise));
    assert_eq!(told(problem().fit(&[1.0, f64::INFINITY, 0.0])), "starting value 1 is inf, must be finite");
    let few = Problem::new(2, decay(&TIMES[..2], &VALUES[..2])).fit(&start);
    assert_eq!(few, Err(FitError::TooFewRows { rows: 2, parameters: 3 }));
    let narrow = Options { max_iterations: 1, ..Options::default() };
    let error = problem().options(narrow).fit(&start).unwrap_err();
    assert!(matches!(error, FitError::NotConverged { iterations: 1, last_step, .. } if last_step > 0.0), "{error}");
    let failing = Problem::new(1, |_: &[f64], _: &mut [f64]| Err("no phase data"));
    assert_eq!(failing.fit(&[1.0]).unwrap_err(), FitError::TooFewRows { rows: 1, parameters: 1 });
    let failing = Problem::new(2, |_: &[f64], _: &mut [f64]| Err("no phase data"));
    assert_eq!(failing.fit(&[1.0]).unwrap_err().to_string(), "the model failed at [1.0]: no phase data");
}

#[test]
fn the_chi_square_of_a_mean_is_that_of_the_textbook() {
    let fit = Problem::new(4, |p: &[f64], r: &mut [f64]| {
        for (i, r) in r.iter_mut().enumerate() {
            *r = p[0] - i as f64;
        }
        Ok::<(), Infallible>(())
    })
    .options(KNOWN)
    .fit(&[0.0])
    .unwrap();
    // S = 5 with 3 degrees of freedom
    assert!((fit.chi_square_probability().unwrap() - 0.171_797_144).abs() < 1e-8);
    assert!((fit.standard_deviations[0] - 0.5).abs() < 1e-9);
    let (low, high) = fit.interval(0, 0.95).unwrap();
    assert!((high - low - 1.959_963_985).abs() < 1e-6);
}

#[test]
fn priors_alone_are_given_back() {
    let fit = Problem::new(0, |_: &[f64], _: &mut [f64]| Ok::<(), Infallible>(()))
        .priors(vec![Some(Prior { mean: 3.0, sd: 0.5 })])
        .options(KNOWN)
        .fit(&[0.0])
        .unwrap();
    assert!((fit.parameters[0] - 3.0).abs() < 1e-9 && (fit.standard_deviations[0] - 0.5).abs() < 1e-12);
    assert_eq!((fit.data_covariance.is_none(), fit.residual_sd, fit.chi_square_probability()), (true, None, None));
    assert!(fit.information[0].prior > 1.0 - 1e-12);
}

#[test]
fn what_is_too_large_to_square_is_not_finite() {
    let priors = vec![Some(Prior { mean: 1e200, sd: 1.0 }), None, None];
    let error =
        Problem::new(8, decay(&TIMES, &VALUES)).priors(priors).options(KNOWN).fit(&[1.0, 1.0, 0.0]).unwrap_err();
    assert!(matches!(error, FitError::NonFiniteResidual { index: 8, value, .. } if value == -1e200), "{error}");
}

#[test]
fn nothing_to_fit_is_no_panic() {
    let nothing = || Problem::new(0, |_: &[f64], _: &mut [f64]| Ok::<(), Infallible>(()));
    assert_eq!(nothing().fit(&[]), Err(FitError::TooFewRows { rows: 0, parameters: 0 }));
    assert_eq!(nothing().options(KNOWN).fit(&[]).unwrap().parameters, Vec::<f64>::new());
}

#[test]
fn all_parameters_may_be_held() {
    let bounds = vec![Bounds::new(2.0, 2.0), Bounds::new(0.5, 0.5), Bounds::new(0.1, 0.1)];
    let fit = Problem::new(8, decay(&TIMES, &VALUES)).bounds(bounds).fit(&[9.0, 9.0, 9.0]).unwrap();
    assert_eq!((fit.stop, fit.parameters.as_slice()), (Stop::AllAtBounds, [2.0, 0.5, 0.1].as_slice()));
    assert_eq!(fit.degrees_of_freedom, 8);
}
