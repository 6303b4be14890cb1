//! `report`: one page to keep, of one formula or several.

use std::ffi::OsStr;

use barwright_answer::document::{Block, Kind, Section, Table};
use barwright_answer::report::{Plans, Report as Asked, assess, page};
use barwright_answer::words::names::{capital, name};
use barwright_answer::words::visible::visible;
use barwright_answer::{Engine, picture};
use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, Options};
use barwright_making::cool::CELLS;
use barwright_making::{CoolTask, Packing, ParcelTask, PourTask, cool, parcel, pour};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, Library};

use super::parcel::{Sent, known, sent, unsent};
use barwright_answer::places;
use barwright_answer::plans;
use barwright_answer::plans::{USUAL_KG, filling_kg, too_hot, usual_pour_c};

use crate::args::report::Report;
use crate::error::CliError;
use crate::input::{check_stdin_once, load};
use crate::output::Streams;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use crate::render::ingredients::{FIGURES, HOW, cited, figures};
use crate::save::save;

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
    let named = order.mould.load()?;
    let is_usual = named.is_none();
    let mould = named.unwrap_or_else(barwright_answer::mould::usual_mould);
    let asked = Asked { formulas: loaded.recipes(), options: order.options(mould.relief_mm), units: order.units };
    let engine = Engine { library: loaded.library, model: profile.model(streams)? };
    let found = assess(&engine, &asked)?;
    let plan_options = Options { draws: asked.options.draws.min(PLAN_DRAWS), ..asked.options.clone() };
    let bench = engine.bench(&plan_options)?;
    let library = &engine.library;
    let task =
        Plan { order, bench: &bench, options: &plan_options, library, mould: &mould, is_usual, sent: sent.as_ref() };
    let of = (found.formulas.iter().zip(&found.answers))
        .map(|(formula, answer)| task.sections(formula, answer, streams))
        .collect::<Result<Vec<_>, _>>()?;
    let plans = Plans { of, draws: plan_options.draws };
    save(&order.out, page(&engine, &asked, &found, plans, sources(library, &found.formulas))?.as_bytes())?;
    Ok(streams.remarks.note(&format!("the report is in {}", order.out.display()))?)
}

/// What is planned for each formula.
struct Plan<'a> {
    order: &'a Report,
    bench: &'a Workbench<'a>,
    options: &'a Options,
    library: &'a Library,
    mould: &'a Mould,
    is_usual: bool,
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
        let pouring = if self.order.pour { self.pour(formula, streams)? } else { None };
        let cooling = if self.is_usual { None } else { self.cool(formula, streams)? };
        let post = self.sent.map(|sent| self.post(formula, answer, sent)).transpose()?;
        Ok(pouring.into_iter().chain(cooling).chain(post).collect())
    }

    fn pour(&self, formula: &Formula, streams: &mut Streams<'_>) -> Result<Option<Section>, CliError> {
        let of_mould = !self.is_usual;
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
        Ok(Some(barwright_answer::pour::section(&barwright_answer::pour::View {
            found: &found,
            library: self.library,
            mass_kg,
            melt_kg: mass_kg,
            of_mould,
            two_streams: false,
            microwave_w: None,
            flash_c: None,
            units: self.order.units,
        })))
    }

    fn cool(&self, formula: &Formula, streams: &mut Streams<'_>) -> Result<Option<Section>, CliError> {
        let room_c = self.order.room;
        let pour_c = usual_pour_c(self.bench, formula, room_c)?;
        too_hot(self.mould, pour_c)?;
        let places = places::usual(room_c, false);
        let room = (room_c, self.order.humidity);
        let task = CoolTask { formula, mould: self.mould, pour_c, mould_c: room_c, places: &places, room };
        let found = progress::watched(|control| cool(self.bench, &task, control))?;
        let Some(found) = within_reach(found, "cooling", streams)? else { return Ok(None) };
        Ok(Some(barwright_answer::cool::section(&barwright_answer::cool::View {
            found: &found,
            mould: self.mould,
            usual_size: false,
            pour_c,
            relief_mm: self.options.relief_mm,
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
        Ok(post(&render::parcel::View {
            found: &found,
            sent,
            task: &task,
            usual_size: self.is_usual,
            options: self.options,
            assessment: answer,
            units: self.order.units,
        }))
    }
}

/// Turns sizes and temperatures outside the heat model into a note.
fn within_reach<T>(
    found: Result<T, barwright_making::MakingError>,
    what: &str,
    streams: &mut Streams<'_>,
) -> Result<Option<T>, CliError> {
    let mut notes = Vec::new();
    let found = plans::within_reach(found, what, &mut notes)?;
    notes.iter().try_for_each(|note| streams.remarks.note(note))?;
    Ok(found)
}

/// What becomes of it in the post.
fn post(view: &render::parcel::View<'_>) -> Section {
    let [a, b, c, d, e] = render::parcel::WAYS;
    let table = Table::new("What helps, the surest first.")
        .columns(Kind::Words, [a, b, c])
        .columns(Kind::Figure, [d])
        .columns(Kind::Words, [e])
        .rows(render::parcel::ways(view));
    let picture = picture::parcel::picture(view.found, &name(&view.sent.name), view.units);
    let mut blocks = vec![Block::said(render::parcel::answer(view)), Block::Table(table), Block::Picture(picture)];
    blocks.extend(render::parcel::rests_on(view).into_iter().map(Block::Small));
    let cautions = render::parcel::cautions(&view.task.packing);
    blocks.push(Block::terms(cautions.into_iter().map(|one| (capital(one.about), one.text))));
    Section::new("In the post", blocks)
}

/// Every figure of every ingredient, with how it was obtained and where from.
fn sources(library: &Library, formulas: &[Formula]) -> Section {
    let mut blocks = Vec::new();
    let mut seen = Vec::new();
    let mut keys = Vec::new();
    for part in formulas.iter().flat_map(|formula| &formula.parts) {
        let Some(ingredient) = library.ingredients.get(part.ingredient) else { continue };
        if seen.contains(&part.ingredient) {
            continue;
        }
        seen.push(part.ingredient);
        let caption = format!("{} ({})", capital(&name(&ingredient.common_name)), visible(&ingredient.inci_name));
        let figures = figures(library, ingredient);
        keys.extend(figures.iter().map(|figure| figure.source.clone()));
        let rows =
            figures.into_iter().map(|one| [one.what, one.value, one.how, render::ingredients::source(&one.source)]);
        blocks.push(Block::Table(Table::new(caption).columns(Kind::Words, FIGURES).rows(rows)));
    }
    blocks.push(Block::Small(HOW.to_owned()));
    blocks.push(Block::Under("References".to_owned()));
    blocks.push(Block::terms(cited(keys.iter().map(String::as_str))));
    Section::new("Where the figures of the ingredients come from", blocks)
}
