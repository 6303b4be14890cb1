//! Time of a day's conduction with melting, beside a general stiff solver on the same grid. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::ops::ControlFlow;
use std::time::Instant;

use barwright_heat::ambient::Side;
use barwright_heat::{
    Accuracy, Ambient, Body, Branch, Curve, Exposure, Faces, Material, Mould, Resolution, Run, Shape, Task, solve,
};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use diffsol::{FaerSparseLU, FaerSparseMat, OdeBuilder, OdeSolverMethod, Vector};

const HOUR_S: f64 = 3600.0;

/// A blend that melts from 20 to 62 °C, most of it around 35.
fn blend() -> Material {
    let melted =
        [(15.0, 0.42), (20.0, 0.45), (28.0, 0.55), (32.0, 0.66), (36.0, 0.82), (42.0, 0.88), (52.0, 0.94), (62.0, 1.0)];
    Material::new(930.0, Curve::melting(&melted, 150e3, 2000.0, 2100.0).unwrap(), 0.22, 0.17).unwrap()
}

/// A pure wax: all its latent heat at one temperature.
fn pure() -> Material {
    Material::new(930.0, Curve::pure(38.0, 180e3, 2000.0, 2100.0).unwrap(), 0.25, 0.17).unwrap()
}

/// A hot day: 22 °C at night, 48 °C after noon.
fn day() -> Ambient {
    let rows: Vec<(f64, f64)> = (0..=24)
        .map(|hour| {
            let turn = (f64::from(hour) - 8.0) / 24.0 * std::f64::consts::TAU;
            (f64::from(hour) * HOUR_S, 35.0 + 13.0 * turn.sin())
        })
        .collect();
    Ambient::route(&rows).unwrap()
}

fn bar(material: Material, cell_m: f64, alike: bool) -> Body {
    let shape = Shape::Box { length_m: 0.060, width_m: 0.040, height_m: 0.020 };
    let faces = if alike {
        Faces::all(Exposure::given(6.0, 0.95).unwrap())
    } else {
        Faces::all(Exposure::natural(0.95).unwrap())
    };
    let resolution = Resolution { cell_m, most_cells: 400_000, whole: false, ..Resolution::default() };
    Body::new(shape, material, None, faces, resolution).unwrap()
}

fn in_mould(cell_m: f64) -> Body {
    let shape = Shape::Box { length_m: 0.060, width_m: 0.040, height_m: 0.020 };
    let silicone = Material::new(1150.0, Curve::unmelting(1300.0).unwrap(), 0.25, 0.25).unwrap();
    let mould = Mould { wall_m: 0.005, material: silicone };
    let faces = Faces::all(Exposure::natural(0.95).unwrap());
    let resolution = Resolution { cell_m, most_cells: 400_000, whole: false, ..Resolution::default() };
    Body::new(shape, blend(), Some(mould), faces, resolution).unwrap()
}

fn run(body: &Body, air: &Ambient, start_c: f64, accuracy: Accuracy) -> Run {
    let samples_s: Vec<f64> = (0..=144).map(|n| f64::from(n) * 600.0).collect();
    let task = Task { accuracy, samples_s: &samples_s, ..Task::new(body, air, start_c, 24.0 * HOUR_S) };
    solve(&task, &|_| ControlFlow::Continue(())).unwrap()
}

fn tell(name: &str, body: &Body, air: &Ambient, start_c: f64) {
    let started = Instant::now();
    let done = run(body, air, start_c, Accuracy::default());
    println!(
        "{name}: {} cells, {:.3} s, {:?}, gap {:.1e}",
        body.cells(),
        started.elapsed().as_secs_f64(),
        done.work,
        done.energy.relative_gap
    );
}

/// The same problem in plain form for a solver of stiff equations: one eighth of the bar, conductivity and film constant, unknowns the enthalpies.
///
/// `dh/dt = flow(T(h)) / M`, with the Jacobian's products by hand and its pattern found by the solver.
struct Peer {
    counts: [usize; 3],
    /// Conductance to the next cell along each axis and of an outer face, W/K.
    links: [f64; 3],
    films: [f64; 3],
    per_kg: f64,
    curve: Curve,
    air: Ambient,
    start_j_per_kg: f64,
}

/// Conductivity and film of the comparison.
const K: f64 = 0.2;
const FILM: f64 = 12.0;

impl Peer {
    fn new(body: &Body, curve: Curve, air: Ambient) -> Self {
        let counts = body.counts();
        let half = [0.030, 0.020, 0.010];
        let width: [f64; 3] = std::array::from_fn(|axis| half[axis] / counts[axis] as f64);
        let volume: f64 = width.iter().product();
        let area: [f64; 3] = std::array::from_fn(|axis| volume / width[axis]);
        Peer {
            counts,
            links: std::array::from_fn(|axis| K * area[axis] / width[axis]),
            films: std::array::from_fn(|axis| area[axis] / (1.0 / FILM + 0.5 * width[axis] / K)),
            per_kg: 1.0 / (930.0 * volume),
            start_j_per_kg: curve.enthalpy_j_per_kg(22.0, Branch::Heating),
            curve,
            air,
        }
    }

    /// Heat into each cell, over its mass, when the cells are at `t` and the air at `air`.
    fn flow(&self, t: &[f64], air: f64, out: &mut [f64]) {
        let [nx, ny, nz] = self.counts;
        let strides = [1, nx, nx * ny];
        for k in 0..nz {
            for j in 0..ny {
                for i in 0..nx {
                    let cell = i + nx * (j + ny * k);
                    let mut sum = 0.0;
                    for (axis, at) in [i, j, k].into_iter().enumerate() {
                        if at > 0 {
                            sum += self.links[axis] * (t[cell - strides[axis]] - t[cell]);
                        }
                        if at + 1 < self.counts[axis] {
                            sum += self.links[axis] * (t[cell + strides[axis]] - t[cell]);
                        } else {
                            sum += self.films[axis] * (air - t[cell]);
                        }
                    }
                    out[cell] = sum * self.per_kg;
                }
            }
        }
    }

    /// dT/dh, by the curve's own straight pieces.
    fn slope(&self, h: f64) -> f64 {
        (self.curve.temperature_c(h + 1e-3) - self.curve.temperature_c(h - 1e-3)) / 2e-3
    }

    /// Runs the day; returns the mean melted share at the end and the steps taken.
    fn run(&self) -> (f64, usize) {
        let n: usize = self.counts.iter().product();
        let problem = OdeBuilder::<FaerSparseMat<f64>>::new()
            .rtol(1e-6)
            // What 0.05 K is in heat: the accuracy the other side is asked for.
            .atol([100.0])
            .h0(1.0)
            .rhs_implicit(
                |h: &[f64], _p: &[f64], time_s: f64, out: &mut [f64]| {
                    let t: Vec<f64> = h.iter().map(|&h| self.curve.temperature_c(h)).collect();
                    self.flow(&t, self.air.temperature_c(time_s, Side::After), out);
                },
                |h: &[f64], _p: &[f64], _time_s: f64, v: &[f64], out: &mut [f64]| {
                    let t: Vec<f64> = h.iter().zip(v).map(|(&h, v)| self.slope(h) * v).collect();
                    self.flow(&t, 0.0, out);
                },
            )
            .init(|_p: &[f64], _t: f64, h: &mut [f64]| h.fill(self.start_j_per_kg), n)
            .build()
            .unwrap();
        let mut solver = problem.bdf::<FaerSparseLU<f64>>().unwrap();
        let mut steps = 0;
        while solver.state().t < 24.0 * HOUR_S {
            solver.step().unwrap();
            steps += 1;
        }
        let h = solver.interpolate(24.0 * HOUR_S).unwrap();
        (h.clone_as_vec().into_iter().map(|h| self.curve.melted_share(h)).sum::<f64>() / n as f64, steps)
    }
}

/// The same body for this crate.
fn plain_bar(cell_m: f64) -> (Body, Curve) {
    let curve = blend().curve(Branch::Heating).unwrap().clone();
    let material = Material::new(930.0, curve.clone(), K, K).unwrap();
    let shape = Shape::Box { length_m: 0.060, width_m: 0.040, height_m: 0.020 };
    let resolution = Resolution { cell_m, most_cells: 400_000, whole: false, ..Resolution::default() };
    (Body::new(shape, material, None, Faces::all(Exposure::given(FILM, 0.0).unwrap()), resolution).unwrap(), curve)
}

fn a_day(criterion: &mut Criterion) {
    let (air, room) = (day(), Ambient::constant(21.0).unwrap());
    tell("hot day, blend, eighth", &bar(blend(), 1e-3, true), &air, 22.0);
    tell("hot day, blend, quarter", &bar(blend(), 1e-3, false), &air, 22.0);
    tell("hot day, pure, quarter", &bar(pure(), 1e-3, false), &air, 22.0);
    tell("setting in a mould, quarter", &in_mould(1e-3), &room, 70.0);
    let mut group = criterion.benchmark_group("24 h of a bar 60 × 40 × 20 mm");
    group.sample_size(10);
    for cell_mm in [4.0, 2.0, 1.0] {
        let body = bar(blend(), 1e-3 * cell_mm, false);
        group.bench_with_input(BenchmarkId::new("hot day, cells", body.cells()), &body, |bencher, body| {
            bencher.iter(|| run(body, &air, 22.0, Accuracy::default()))
        });
    }
    group.finish();

    let mut group = criterion.benchmark_group("the same day beside a general stiff solver");
    group.sample_size(10);
    for cell_mm in [4.0, 2.0, 1.0] {
        let (body, curve) = plain_bar(1e-3 * cell_mm);
        let peer = Peer::new(&body, curve, day());
        let cells = body.cells();
        let started = Instant::now();
        let (share, steps) = peer.run();
        let theirs_s = started.elapsed().as_secs_f64();
        let started = Instant::now();
        let ours = run(&body, &air, 22.0, Accuracy::default());
        let ours_s = started.elapsed().as_secs_f64();
        println!(
            "{cells} cells: ours {ours_s:.3} s, {} steps, melted {:.4}; general {theirs_s:.3} s, {steps} steps, melted {share:.4}; {:.0} times",
            ours.work.steps,
            ours.last.melted_share,
            theirs_s / ours_s
        );
        group.bench_with_input(BenchmarkId::new("ours, cells", cells), &body, |bencher, body| {
            bencher.iter(|| run(body, &air, 22.0, Accuracy::default()))
        });
        if cells < 1000 {
            group.bench_with_input(
                BenchmarkId::new("general (diffsol, BDF, sparse LU), cells", cells),
                &peer,
                |bencher, peer| bencher.iter(|| peer.run()),
            );
        }
    }
    group.finish();
}

criterion_group!(benches, a_day);
criterion_main!(benches);
