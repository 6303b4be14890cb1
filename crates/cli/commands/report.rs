//! `report`: one page to keep, of one formula or several.

use std::ffi::OsStr;

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, Options, assess};
use barwright_making::cool::CELLS;
use barwright_making::{CoolTask, Packing, ParcelTask, PourTask, cool, parcel, pour};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, Library};
use barwright_save::save;

use super::cool::{too_hot, usual_places, usual_pour_c};
use super::curves;
use super::parcel::{Sent, known, sent, unsent};
use super::plans::within_reach;
use super::pour::{USUAL_KG, filling_kg};
use crate::args::report::Report;
use crate::error::CliError;
use crate::input::{check_stdin_once, load};
use crate::output::Streams;
use crate::page::report::{Found, Section, page};
use crate::profile::Profile;
use crate::progress;
use crate::render;

/// Trial computations behind each interval of a plan: as on a weigh sheet.
const PLAN_DRAWS: usize = 64;

/// Runs the subcommand.
pub fn run(order: &Report, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = order.formulas.iter().map(|formula| formula.as_os_str()).collect();
    let lots = profile.lots(order.making.lots.as_deref());
    let read: Vec<&OsStr> = written.iter().copied().chain(order.route.as_deref()).collect();
    check_stdin_once(&read, lots.as_deref())?;
    let sent = order.route.as_deref().map(|route| sent(route, known()?, streams)).transpose()?;
    let loaded = load(&written, lots.as_deref(), streams)?;
    let mould = order.mould.load()?;
    let options = order.options(mould.relief_mm);
    let parameters = profile.parameters(streams)?;
    let (library, formulas) = (&loaded.library, loaded.formulas.as_slice());
    let comparison = match formulas {
        [_] => None,
        several => Some(barwright_blend::compare(library, &parameters, several, &options)?),
    };
    let alone: Vec<Assessment>;
    let answers = match &comparison {
        Some(comparison) => &comparison.formulas,
        None => {
            alone = formulas.iter().map(|one| assess(library, &parameters, one, &options)).collect::<Result<_, _>>()?;
            &alone
        }
    };
    let computed = curves::computed(library, &parameters, formulas, answers, &options)?;
    let plan_options = Options { draws: options.draws.min(PLAN_DRAWS), ..options.clone() };
    let bench = Workbench::new(library, &parameters, plan_options.clone())?;
    let task = Plan { order, bench: &bench, options: &plan_options, library, mould: &mould, sent: sent.as_ref() };
    let plans = formulas
        .iter()
        .zip(answers)
        .map(|(formula, answer)| task.sections(formula, answer, streams))
        .collect::<Result<Vec<_>, _>>()?;
    let found = Found {
        titles: &curves::titles(formulas),
        formulas,
        answers,
        comparison: comparison.as_ref(),
        remarks: &loaded.remarks,
        computed: &computed,
        plans: &plans,
        plan_draws: plan_options.draws,
        library,
        options: &options,
        units: order.units,
    };
    save(&order.out, page(&found).as_bytes())?;
    Ok(streams.remarks.note(&format!("the report is in {}", order.out.display()))?)
}

/// What is planned for each formula.
struct Plan<'a> {
    order: &'a Report,
    bench: &'a Workbench<'a>,
    options: &'a Options,
    library: &'a Library,
    mould: &'a Mould,
    sent: Option<&'a Sent>,
}

impl Plan<'_> {
    /// The plans asked for, of one formula.
    fn sections(
        &self,
        formula: &Formula,
        answer: &Assessment,
        streams: &mut Streams<'_>,
    ) -> Result<Vec<Section>, CliError> {
        let pouring = if self.order.pour { self.pour(formula, answer, streams)? } else { None };
        let cooling = if self.order.mould.is_usual() { None } else { self.cool(formula, answer, streams)? };
        let post = self.sent.map(|sent| self.post(formula, answer, sent)).transpose()?;
        Ok(pouring.into_iter().chain(cooling).chain(post).collect())
    }

    fn pour(
        &self,
        formula: &Formula,
        answer: &Assessment,
        streams: &mut Streams<'_>,
    ) -> Result<Option<Section>, CliError> {
        let of_mould = !self.order.mould.is_usual();
        let mass_kg = if of_mould { filling_kg(self.mould, self.library, formula) } else { USUAL_KG };
        let mould_most_c = self.mould.most_c;
        let task = PourTask {
            formula,
            second: None,
            mass_kg,
            room_c: self.order.room,
            mould_most_c,
            flash_c: None,
            pour_c: None,
        };
        let found = progress::watched(|control| pour(self.bench, &task, control))?;
        let Some(found) = within_reach(found, "pour", streams)? else { return Ok(None) };
        Ok(Some(Section::pouring(&render::pour::View {
            found: &found,
            formula,
            second: None,
            library: self.library,
            mass_kg,
            melt_kg: mass_kg,
            of_mould,
            microwave: None,
            scent: None,
            assessment: answer,
            units: self.order.units,
        })))
    }

    fn cool(
        &self,
        formula: &Formula,
        answer: &Assessment,
        streams: &mut Streams<'_>,
    ) -> Result<Option<Section>, CliError> {
        let room_c = self.order.room;
        let pour_c = usual_pour_c(self.bench, formula, room_c)?;
        too_hot(self.mould, pour_c)?;
        let places = usual_places(room_c, false);
        let room = (room_c, self.order.humidity);
        let task = CoolTask { formula, mould: self.mould, pour_c, mould_c: room_c, places: &places, room };
        let found = progress::watched(|control| cool(self.bench, &task, control))?;
        let Some(found) = within_reach(found, "cooling", streams)? else { return Ok(None) };
        Ok(Some(Section::cooling(&render::cool::View {
            found: &found,
            formula,
            mould: self.mould,
            usual_size: false,
            pour_c,
            options: self.options,
            assessment: answer,
            units: self.order.units,
        })))
    }

    fn post(&self, formula: &Formula, answer: &Assessment, sent: &Sent) -> Result<Section, CliError> {
        let task = ParcelTask {
            formula,
            packing: Packing { shape: self.mould.shape, bars: 1, foam_m: 0.0, ice_kg: 0.0 },
            bar_ml: self.mould.volume_ml,
            start_c: self.order.room,
            route: &sent.route.rows,
            cell_m: CELLS.cell_m,
        };
        let found = progress::watched(|control| parcel(self.bench, &task, control))?.map_err(unsent)?;
        Ok(Section::post(&render::parcel::View {
            found: &found,
            sent,
            task: &task,
            usual_size: self.order.mould.is_usual(),
            options: self.options,
            assessment: answer,
            units: self.order.units,
        }))
    }
}
