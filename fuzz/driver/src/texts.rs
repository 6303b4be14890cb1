//! Files of other kinds, and single amounts.

use barwright_blend::certificate::fit_lots;
use barwright_blend::{Options, assess};
use barwright_reference::bought::{BoughtText, TestText};
use barwright_reference::formula::quantity::{Measure, Quantity, Unit, parse_measure, parse_quantity};
use barwright_reference::length::parse_length;
use barwright_reference::mould::{BAR_MM, BarShape, Mould, RELIEF_MM};
use barwright_reference::range::parse_range;
use barwright_reference::route::{LONGEST_S, Route};
use barwright_reference::space::SpaceText;
use barwright_reference::temperature::{parse_temperature, parse_temperatures};
use barwright_reference::{Formula, Library, Lookup, Part};
use barwright_reformulate::space::Group;
use barwright_reformulate::{Space, space::Filler};
use barwright_trials::{Learned, Test};

use crate::claims;
use crate::task::{LIBRARY, MODEL};

/// Hottest temperature taken, °C, and the coldest there is.
const TAKEN_C: (f64, f64) = (-273.15, 400.0);

/// Longest time and largest amount are read back to this, relative: seconds are written in decimal digits.
const SAME: f64 = 1e-12;

/// Most deliveries of one file whose certificates are followed, so that one input stays short.
const MAX_FITTED: usize = 4;

/// A day, s.
const DAY_S: f64 = 86_400.0;

fn lots_of(text: &str) -> Result<Library, u64> {
    match LIBRARY.with_lots(text) {
        Ok((library, notes)) => {
            claims::notes(text, &notes);
            Ok(library)
        }
        Err(errors) => {
            claims::errors(text, &errors);
            Err(claims::digest_of(&errors))
        }
    }
}

/// Deliveries.
pub fn lots(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let library = match lots_of(&text) {
        Ok(library) => library,
        Err(digest) => return digest,
    };
    let first = LIBRARY.ingredients.len();
    assert!(library.ingredients.len() > first, "read without a delivery");
    for (id, lot) in library.by_id().skip(first) {
        assert_eq!(library.find(&lot.key), Lookup::Found(id), "{} is not found", lot.key);
        assert!(!lot.common_name.trim().is_empty() && !lot.inci_name.trim().is_empty(), "{lot:?}");
        claims::composition(lot);
        assert!(lot.composition.iter().all(|one| one.sd_percent.is_finite() && one.sd_percent >= 0.0), "{lot:?}");
        claims::within("density", lot.density_g_ml, 0.5, if lot.powder.is_some() { 8.0 } else { 1.5 });
        let figures = [lot.price_per_kg, lot.lot_melt_c, lot.lot_needle_dmm, lot.lot_flash_c, lot.lot_limit_percent];
        assert!(figures.into_iter().flatten().all(f64::is_finite), "{lot:?}");
        assert!(lot.lot_allergens.iter().all(|(_, percent)| (0.0..=100.0).contains(percent)), "{lot:?}");
    }
    let stated = library.ingredients.iter().skip(first).map(|lot| {
        (lot.lot_melt_c.is_some(), lot.lot_needle_dmm.is_some(), lot.lot_best_before.is_some(), lot.lot_allergens.len())
    });
    claims::digest(stated.collect::<Vec<_>>())
}

/// What the certificates of deliveries say of their composition.
pub fn certificate(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let library = match lots_of(&text) {
        Ok(library) if library.ingredients.len() <= LIBRARY.ingredients.len() + MAX_FITTED => library,
        Ok(_) => return 1,
        Err(digest) => return digest,
    };
    let (fitted, shifts) = fit_lots(&library, &MODEL.parameters).expect("the certificates are followed");
    fitted.ingredients.iter().for_each(claims::composition);
    for shift in &shifts {
        assert!(shift.most_sd.is_finite() && shift.most_sd >= 0.0, "{shift:?}");
        for figure in &shift.figures {
            let all = [Some(figure.stated), figure.before, figure.now, figure.off_sd];
            assert!(all.into_iter().flatten().all(f64::is_finite), "{figure:?}");
        }
        let part = Part { ingredient: shift.ingredient, percent: 100.0 };
        let bar = Formula { name: "lot".to_owned(), parts: vec![part] };
        let answer = assess(&fitted, &MODEL, &bar, &Options { draws: 2, ..Options::default() });
        claims::figures(&serde_json::to_value(answer.expect("a delivery is assessed")).expect("JSON"));
    }
    let how = |figure: &barwright_blend::certificate::Figure| (figure.is_met(), figure.is_doubtful());
    claims::digest(
        shifts
            .iter()
            .map(|one| (one.species_stated, one.figures.iter().map(how).collect()))
            .collect::<Vec<(bool, Vec<(bool, bool)>)>>(),
    )
}

/// A mould.
pub fn mould(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let mould = match Mould::read(&text) {
        Ok(mould) => mould,
        Err(errors) => {
            claims::errors(&text, &errors);
            return claims::digest_of(&errors);
        }
    };
    let sides = match mould.shape {
        BarShape::Box { length_mm, width_mm, height_mm } => vec![length_mm, width_mm, height_mm],
        BarShape::Round { diameter_mm, height_mm } => vec![diameter_mm, height_mm],
    };
    for side in sides {
        claims::within("a side", side, *BAR_MM.start(), *BAR_MM.end());
    }
    if let Some(relief_mm) = mould.relief_mm {
        claims::within("the relief", relief_mm, *RELIEF_MM.start(), *RELIEF_MM.end());
    }
    if let Some(most_c) = mould.most_c {
        claims::within("the hottest", most_c, TAKEN_C.0, TAKEN_C.1);
    }
    assert!(mould.cavities >= 1 && mould.wall_mm > 0.0 && mould.wall_mm.is_finite(), "{mould:?}");
    assert!(mould.volume_ml > 0.0 && mould.volume_ml.is_finite(), "{mould:?}");
    claims::digest((mould.relief_mm.is_some(), mould.volume_measured, mould.most_c.is_some(), mould.cavities > 1))
}

/// A route, or what a logger wrote.
pub fn route(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let (route, notes) = match Route::read(&text) {
        Ok(read) => read,
        Err(errors) => {
            claims::errors(&text, &errors);
            return claims::digest_of(&errors);
        }
    };
    claims::notes(&text, &notes);
    sound_route(&route);
    let mut written = String::from("seconds,temperature_c\n");
    for (time_s, celsius) in &route.rows {
        written.push_str(&format!("{time_s},{celsius}\n"));
    }
    let (again, _) = Route::read(&written).unwrap_or_else(|errors| panic!("{written}\n{errors:?}"));
    assert_eq!(again.rows.len(), route.rows.len(), "{written}");
    for (one, other) in route.rows.iter().zip(&again.rows) {
        let same = (one.0 - other.0).abs() <= SAME * LONGEST_S && (one.1 - other.1).abs() <= SAME * TAKEN_C.1;
        assert!(same, "{one:?} became {other:?}");
    }
    claims::digest((claims::digest_of(&notes), route.clock_s.is_some(), route.rows.len().min(4)))
}

fn sound_route(route: &Route) {
    assert_eq!(route.rows.first().map(|row| row.0), Some(0.0), "a route begins at 0 s");
    for &(time_s, celsius) in &route.rows {
        claims::within("a time", time_s, 0.0, LONGEST_S);
        claims::within("the air", celsius, TAKEN_C.0, TAKEN_C.1);
    }
    assert!(route.rows.windows(2).all(|two| two[0].0 <= two[1].0), "out of order: {:?}", route.rows);
    assert!(route.rows.windows(3).all(|three| three[0].0 < three[2].0), "three at one time: {:?}", route.rows);
    if let Some(clock_s) = route.clock_s {
        assert!((0.0..DAY_S).contains(&clock_s), "{clock_s} s after midnight");
    }
}

/// A shelf to explore.
pub fn space(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let read = match SpaceText::read(&text, &LIBRARY) {
        Ok(read) => read,
        Err(errors) => {
            claims::errors(&text, &errors);
            return claims::digest_of(&errors);
        }
    };
    assert!(!read.ingredients.is_empty(), "read without ingredients");
    let range = |least: f64, most: f64| assert!(0.0 <= least && least <= most && most <= 100.0, "{least} to {most} %");
    for one in &read.ingredients {
        assert!(LIBRARY.get(one.ingredient).is_some() && text.get(one.span.clone()).is_some(), "{one:?}");
        range(one.least, one.most);
    }
    for total in &read.totals {
        assert!(total.members.iter().all(|member| *member < read.ingredients.len()), "{total:?}");
        assert!(text.get(total.span.clone()).is_some(), "{total:?}");
        range(total.least, total.most);
    }
    assert!(read.prices.iter().all(|(_, price)| price.is_finite() && *price >= 0.0), "{:?}", read.prices);
    assert!(read.wishes.iter().all(|wish| text.get(wish.span.clone()).is_some()), "{:?}", read.wishes);
    let space = Space {
        ingredients: read.ingredients.iter().map(|one| one.ingredient).collect(),
        min_percent: read.ingredients.iter().map(|one| one.least).collect(),
        max_percent: read.ingredients.iter().map(|one| one.most).collect(),
        groups: (read.totals.iter())
            .map(|total| Group {
                name: total.name.clone(),
                members: total.members.clone(),
                min_percent: total.least,
                max_percent: total.most,
            })
            .collect(),
        price: None,
    };
    let filled = match Filler::new(&space, 20) {
        Ok(filler) => {
            filled(&filler);
            true
        }
        Err(error) => {
            claims::sentence(&error.to_string());
            false
        }
    };
    claims::digest((filled, read.totals.len().min(3), read.wishes.len(), read.prices.len().min(2)))
}

/// Points of a space are formulas inside it.
fn filled(filler: &Filler) {
    let (mut buffers, mut percent) = (Default::default(), Vec::new());
    for number in 0..8 {
        if filler.point(number, &mut buffers, &mut percent) {
            let sum: f64 = percent.iter().sum();
            assert!((sum - 100.0).abs() <= 1e-6, "a point sums to {sum}: {percent:?}");
            assert!(filler.contains(&percent), "a point outside its space: {percent:?}");
        }
    }
}

/// Bench tests on a bar of unknown formula.
pub fn bought(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let (bar, errors) = BoughtText::read(&text);
    assert!(bar.tests.iter().all(|test| text.get(test.span()).is_some()), "{bar:?}");
    if !errors.is_empty() {
        claims::errors(&text, &errors);
        return claims::digest_of(&errors);
    }
    let firm = bar.tests.iter().filter(|test| !matches!(test, TestText::Tube { .. })).count();
    assert!(firm > 0, "read without a test of firmness: {bar:?}");
    claims::digest((firm.min(3), bar.tests.len().min(5), bar.name.is_some()))
}

/// Single amounts: quantities, measures, lengths, temperatures, ranges.
pub fn quantities(data: &[u8]) -> u64 {
    let text = claims::text(data);
    let quantity = parse_quantity(&text);
    match &quantity {
        Ok(Quantity { value, unit }) => {
            assert!(value.is_finite() && *value > 0.0, "{value}");
            let unit_word = match unit {
                Unit::Parts => "parts",
                Unit::Percent => "%",
                Unit::Gram => "g",
            };
            let again = parse_quantity(&format!("{value} {unit_word}"));
            assert_eq!(again, Ok(Quantity { value: *value, unit: *unit }), "{value} {unit_word}");
        }
        Err(error) => {
            claims::errors(&text, &[error.diagnostic(0..text.len(), LIBRARY.ingredients.first())]);
        }
    }
    let measure = parse_measure(&text);
    match &measure {
        Ok(Measure::Grams(value) | Measure::Millilitres(value) | Measure::Teaspoons(value)) => {
            assert!(value.is_finite() && *value > 0.0, "{value}");
        }
        Err(error) => claims::errors(&text, &[error.diagnostic(0..text.len(), None)]),
    }
    let length = parse_length(&text, BAR_MM);
    match &length {
        Ok(length_mm) => claims::within("a length", *length_mm, *BAR_MM.start(), *BAR_MM.end()),
        Err(message) => claims::sentence(message),
    }
    let temperature = parse_temperature(&text);
    match &temperature {
        Ok(celsius) => claims::within("a temperature", *celsius, TAKEN_C.0, TAKEN_C.1),
        Err(error) => claims::errors(&text, &[error.diagnostic(0..text.len())]),
    }
    let temperatures = parse_temperatures(&text);
    match &temperatures {
        Ok(all) => all.iter().for_each(|celsius| claims::within("a temperature", *celsius, TAKEN_C.0, TAKEN_C.1)),
        Err(errors) => claims::errors(&text, errors),
    }
    let range = parse_range(&text);
    match &range {
        Ok((least, most)) => {
            let (least, most) = (least.unwrap_or(0.0), most.unwrap_or(100.0));
            assert!(0.0 <= least && least <= most && most <= 100.0, "{least} to {most}");
        }
        Err(message) => claims::sentence(message),
    }
    claims::digest((
        quantity.map(|one| one.unit as u8).map_err(|error| error.code()),
        measure.map(|one| std::mem::discriminant(&one)).map_err(|error| error.code()),
        length.is_ok(),
        temperature.map(|_| ()).map_err(|error| error.code()),
        temperatures.is_ok(),
        range.is_ok(),
    ))
}

/// A bench test as the records keep it.
pub fn trial_json(data: &[u8]) -> u64 {
    let Ok(test) = serde_json::from_slice::<Test>(data) else { return 0 };
    let written = serde_json::to_string(&test).expect("a test is written");
    if let Err(error) = test.check() {
        claims::sentence(&error.to_string());
        return claims::digest(std::mem::discriminant(&error));
    }
    assert_eq!(serde_json::from_str::<Test>(&written).ok(), Some(test), "{written}");
    claims::digest((std::mem::discriminant(&test), test.teaches()))
}

/// What bench tests taught, as it is kept.
pub fn learned(data: &[u8]) -> u64 {
    let Ok(learned) = serde_json::from_slice::<Learned>(data) else { return 0 };
    let written = serde_json::to_string(&learned).expect("what was learned is written");
    let taught = match learned.applied(&MODEL.parameters) {
        Ok(taught) => taught,
        Err(error) => {
            claims::sentence(&error.to_string());
            return claims::digest(std::mem::discriminant(&error));
        }
    };
    assert_eq!(serde_json::from_str::<Learned>(&written).ok().as_ref(), Some(&learned), "{written}");
    assert_eq!(learned.told().len(), learned.names.len());
    assert!(learned.told().iter().all(|one| one.mean.is_finite() && one.sd > 0.0), "{:?}", learned.told());
    let parts = [("beeswax", 30.0), ("cocoa-butter", 30.0), ("sunflower-oil", 40.0)].map(|(key, percent)| {
        let place = LIBRARY.id_of(key);
        Part { ingredient: place.expect("a known ingredient"), percent }
    });
    let bar = Formula { name: "bar".to_owned(), parts: parts.to_vec() };
    let answer = assess(&LIBRARY, &taught, &bar, &Options { draws: 8, ..Options::default() });
    let answer = answer.expect("a bar is assessed with whatever was taken as learned");
    claims::figures(&serde_json::to_value(&answer).expect("JSON"));
    claims::digest((learned.names.len().min(8), learned.samples.len().min(2), learned.flagged.len().min(2)))
}
