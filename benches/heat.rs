//! Time of a day's conduction with melting, beside a general stiff solver on the same grid. See `benches/README.md`.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::ops::ControlFlow;
use std::time::Instant;

use barwright_heat::{
    Accuracy, Ambient, Body, Curve, Exposure, Faces, Material, Mould, Resolution, Run, Shape, Task, solve,
};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

const HOUR_S: f64 = 3600.0;

/// A blend that melts from 20 to 62 °C, most of it around 35.
fn blend() -> Material {
    let melted = [(15.0, 0.42), (20.0, 0.45), (28.0, 0.55), (32.0, 0.66), (36.0, 0.82), (42.0, 0.88), (52.0, 0.94), (62.0, 1.0)];
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
    let resolution = Resolution { cell_m, most_cells: 400_000, whole: false };
    Body::new(shape, material, None, faces, resolution).unwrap()
}

fn in_mould(cell_m: f64) -> Body {
    let shape = Shape::Box { length_m: 0.060, width_m: 0.040, height_m: 0.020 };
    let silicone = Material::new(1150.0, Curve::unmelting(1300.0).unwrap(), 0.25, 0.25).unwrap();
    let mould = Mould { wall_m: 0.005, material: silicone };
    let faces = Faces::all(Exposure::natural(0.95).unwrap());
    let resolution = Resolution { cell_m, most_cells: 400_000, whole: false };
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
}

criterion_group!(benches, a_day);
criterion_main!(benches);
