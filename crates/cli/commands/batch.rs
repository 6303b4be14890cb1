//! `batch`: weigh sheet, cost, label.

use std::ffi::OsString;
use std::path::PathBuf;

use crate::save::save;
use barwright_answer::batch::{Batch, Line, MAX_BATCHES, PLAN_DRAWS, Planning, ScentMass, Size, batch};
use barwright_answer::engine::{builtin_model, find};
use barwright_answer::places::Room;
use barwright_answer::stock::{BarsFrom, Have};
use barwright_answer::weigh_sheet::page;
use barwright_answer::words::names::{name, nameless};
use barwright_answer::words::scale::plain;
use barwright_answer::words::units::Units;
use barwright_answer::{Engine, Fault};
use barwright_records::LotStock;
use barwright_reference::formula::quantity::{Measure, parse_measure};
use barwright_reference::text_cell::guard;
use barwright_reference::{IngredientId, Library};
use clap::builder::UnknownArgumentValueParser;

use super::batch_record::{Pour, Recording, record};
use crate::args::{
    LabelMarket, OUTPUT, PRECISION, digit, humidity, loss, mass, model_temperature, positive, units, whole,
    with_mould_help,
};
use crate::colour::{ColourWish, parse_colour};
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::{Form, Streams};
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;

/// Arguments of `batch`.
#[derive(Debug, clap::Args)]
#[command(
    arg = colour_of_what(),
    after_help = with_mould_help("\
A lot file tells the price (`price_per_kg`), and of a scent its name on the label (`inci = \"Parfum\"`), density,
the most its certificate allows (`limit_percent`) and its allergens (`allergens = { Linalool = 8.2 }`, % of the scent).
Of a blend it tells the names of the composition sheet (`inci = { \"Tocopherol\" = 70, \"Helianthus Annuus Seed Oil\" = 30 }`),
of a fatty acid whether its supplier states that it is from plants (`animal_origin = \"no\"`).

Examples:
  barwright batch winter.toml --mould fern-tray.toml --fillings 2
  barwright batch winter.toml --weigh 1.2kg --bar 50g
  barwright batch winter.toml --bar 50g --have 'beeswax=120g' --have 'shea butter=400g'   # which runs out first
  barwright --profile bench batch winter.toml --bar 50g --stock        # of what is left of your deliveries
  barwright --profile bench batch winter.toml --mould fern-tray.toml --stock --batches 4    # what to buy
  barwright batch winter.toml --bars 20 --bar 50g --scale 0.1g --lots my-lots.toml --scent 'spring-scent=6ml'
  barwright batch winter.toml --mould fern-tray.toml --pigment 'CI 77491=2g' --out sheet.csv
  barwright batch winter.toml --mould fern-tray.toml --split 2 --pigment 'green mica=1/4 tsp@0.35g/ml#2' --page sheet.html")
)]
pub struct Args {
    /// The formula, without its scent: a file, `-` for standard input, or a text
    #[arg(value_name = "FORMULA")]
    pub formula: OsString,
    /// Take the formula of this name, when the file holds several
    #[arg(long = "formula", value_name = "NAME")]
    pub named: Option<String>,
    /// Your mould: bars and their mass follow from it
    #[arg(long, value_name = "FILE", conflicts_with = "bars")]
    pub mould: Option<PathBuf>,
    /// Fillings of the mould; without it one, or what `--weigh` or `--have` decides
    #[arg(long, value_name = "N", conflicts_with = "bars")]
    #[arg(value_parser = whole::<u32>(1..=10_000))]
    pub fillings: Option<u32>,
    /// Bars wanted, when you have no mould file
    #[arg(long, value_name = "N", requires = "bar", value_parser = whole::<u32>(1..=1_000_000))]
    pub bars: Option<u32>,
    /// Mass of one bar, such as `50g` or `2oz`
    #[arg(long, value_name = "MASS", value_parser = mass, allow_hyphen_values = true)]
    pub bar: Option<f64>,
    /// Weigh out this much in all, such as `1.2kg`: as many whole bars as it makes, of your mould or of `--bar`
    #[arg(long, value_name = "MASS", value_parser = mass, conflicts_with_all = ["bars", "fillings"], allow_hyphen_values = true)]
    pub weigh: Option<f64>,
    /// What is there of an ingredient: `beeswax=120g`. Where nothing else says how many, as many bars as what runs out first
    /// makes; what is not named there is enough of
    #[arg(long, value_name = "NAME=AMOUNT", allow_hyphen_values = true)]
    pub have: Vec<String>,
    /// Take what your records say is left of each delivery as what is there, too; needs `--profile`
    #[arg(long)]
    pub stock: bool,
    /// What to buy for this many such batches: the sum of each ingredient, less what is there by `--have` and `--stock`
    #[arg(long, value_name = "N", value_parser = whole::<u32>(1..=u64::from(MAX_BATCHES)))]
    pub batches: Option<u32>,
    /// Share of the melt left behind in the jug and on the mould's rim
    #[arg(long, value_name = "PERCENT", default_value = "5", value_parser = loss)]
    pub left: f64,
    /// Smallest step your scale shows, such as `1g` or `0.1g`
    #[arg(long, value_name = "MASS", default_value = "1g", value_parser = digit)]
    pub scale: f64,
    /// A scent, by mass, volume or spoon: `spring-scent=6ml`; a volume needs the density in its lot
    #[arg(long, value_name = "NAME=AMOUNT", allow_hyphen_values = true)]
    pub scent: Vec<String>,
    /// A pigment by its name on the label: `CI 77491=2g`, or by spoon with its bulk density: `green mica=1/4 tsp@0.35g/ml`;
    /// `#2` after it puts it into the second jug. Pigments come on top of the melt
    #[arg(long, value_name = "NAME=AMOUNT", value_parser = parse_colour)]
    pub pigment: Vec<ColourWish>,
    /// Jugs the melt is divided between, to colour each; a pigment without `#` is shared by all
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u32>(1..=12))]
    pub split: u32,
    /// What the records keep of it.
    #[command(flatten)]
    pub recording: Recording,
    /// Number of this batch, for label and records
    #[arg(long, value_name = "TEXT")]
    pub number: Option<String>,
    /// Where the bar is sold: sets the names on the label and how the content is declared
    #[arg(long, value_enum, default_value = "eu")]
    pub market: LabelMarket,
    /// Cost of packaging one bar, in the currency of your prices
    #[arg(long, value_name = "PRICE", value_parser = positive, allow_hyphen_values = true)]
    pub packaging: Option<f64>,
    /// Cost of your work on the batch, in the same currency
    #[arg(long, value_name = "PRICE", value_parser = positive, allow_hyphen_values = true)]
    pub labour: Option<f64>,
    /// Leave out the plans for pouring and cooling: the sheet comes at once
    #[arg(long)]
    pub no_plans: bool,
    /// Temperature of your room, for the plans
    #[arg(long, value_name = "TEMP", default_value = "20", value_parser = model_temperature)]
    #[arg(allow_hyphen_values = true)]
    pub room: f64,
    /// Humidity of your room in %, to tell whether a cold bar sweats
    #[arg(long, value_name = "PERCENT", default_value = "50", value_parser = humidity)]
    pub humidity: f64,
    /// Simulated draws behind each interval of the plans, 16 to 4096; `pour` and `cool` take 256
    #[arg(long, help_heading = PRECISION, value_name = "N", default_value_t = PLAN_DRAWS as u64, value_parser = whole::<u64>(16..=4096))]
    pub draws: u64,
    /// Write the weigh sheet to this CSV file, for a spreadsheet
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Write the sheet as a page to print for the bench: one HTML file that needs no network
    #[arg(long, help_heading = OUTPUT, value_name = "FILE")]
    pub page: Option<PathBuf>,
    /// Your own deliveries, with prices and certificates; its lots can be used by name
    #[arg(long, value_name = "FILE")]
    pub lots: Option<OsString>,
    /// Units shown: `us` for ounces first; JSON is always metric
    #[arg(long, help_heading = OUTPUT, default_value = "metric", value_parser = units())]
    pub units: Units,
    /// Print one JSON document and nothing else, for scripts
    #[arg(long, help_heading = OUTPUT)]
    pub json: bool,
}

/// An option that there is not, lest `--color` is offered to someone who wants to colour a bar.
fn colour_of_what() -> clap::Arg {
    let neither = UnknownArgumentValueParser::suggest_arg("--pigment").and_suggest("`--color` is for this screen");
    clap::Arg::new("colour")
        .long("colour")
        .hide(true)
        .help("Not there: `--pigment` colours the bar")
        .value_parser(neither)
}

impl Args {
    /// How many bars of what mass.
    fn size(&self) -> Result<Size, CliError> {
        // A count that something else decides is not looked at.
        let count = self.bars.or((self.bars_from() != BarsFrom::Size).then_some(1));
        match (&self.mould, count, self.bar) {
            (Some(path), ..) => {
                Ok(Size::Fillings { count: self.fillings.unwrap_or(1), mould: Box::new(load_mould(path)?) })
            }
            (None, Some(count), Some(bar_kg)) => Ok(Size::Bars { count, bar_g: 1e3 * bar_kg }),
            (None, Some(_), None) => Err(CliError::command_line(
                Fault::new("no-bar", "nobody said what a bar weighs")
                    .hint("Name a mould, `--mould FILE`, or say what one weighs: `--bar 50g`."),
            )),
            (None, None, _) => Err(CliError::command_line(Fault::new("no-bars", "nobody said how many bars").hint(
                "Name a mould, `--mould FILE`, or say how many: `--bars 20 --bar 50g`, or what to weigh out: `--weigh 1.2kg --bar 50g`.",
            ))),
        }
    }

    /// What decides how many bars.
    fn bars_from(&self) -> BarsFrom {
        match self.weigh {
            Some(mass_kg) => BarsFrom::Weighed(1e3 * mass_kg),
            None if self.batches.is_none()
                && self.bars.is_none()
                && self.fillings.is_none()
                && (self.stock || !self.have.is_empty()) =>
            {
                BarsFrom::Stock
            }
            None => BarsFrom::Size,
        }
    }

    /// What pouring and cooling are planned with.
    fn planning(&self) -> Planning {
        Planning {
            room: Room { air_c: self.room, humidity_percent: self.humidity },
            draws: usize::try_from(self.draws).unwrap_or(PLAN_DRAWS),
        }
    }

    /// The masses of ingredients behind an option.
    fn masses(&self, library: &Library, option: &Masses, texts: &[String]) -> Result<Vec<(String, f64)>, CliError> {
        let (mut masses, mut faults) = (Vec::new(), Vec::new());
        for text in texts {
            match named_mass(library, option, text, self.units.teaspoon_ml()) {
                Ok(mass) => masses.push(mass),
                Err(fault) => faults.push(*fault),
            }
        }
        if faults.is_empty() { Ok(masses) } else { Err(CliError::input(faults)) }
    }
}

/// An option that takes masses of ingredients.
struct Masses {
    /// As it is written.
    option: &'static str,
    /// Code of its faults.
    code: &'static str,
    /// What to write.
    hint: &'static str,
}

/// `--scent`.
const SCENT: Masses = Masses {
    option: "--scent",
    code: "bad-scent",
    hint: "Write a name and an amount: `spring-scent=6ml` or `spring-scent=5.5g`.",
};

/// `--have`.
const HAVE: Masses = Masses {
    option: "--have",
    code: "bad-have",
    hint: "Write a name and an amount: `beeswax=120g` or `jojoba oil=1kg`.",
};

/// Runs the subcommand.
pub fn run(args: &Args, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&args.formula], profile.lots(args.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, args.named.as_deref(), "batch")?;
    let teaspoon_ml = args.units.teaspoon_ml();
    let scents = args.masses(&loaded.library, &SCENT, &args.scent)?;
    let mut have = args.masses(&loaded.library, &HAVE, &args.have)?;
    if args.stock {
        have.extend(in_stock(&profile.store()?.stock()?, &loaded.library));
    }
    let asked = Batch {
        formula: loaded.recipe(index)?,
        size: args.size()?,
        bars_from: args.bars_from(),
        have: have.into_iter().map(|(ingredient, mass_g)| Have { ingredient, mass_g }).collect(),
        batches: args.batches,
        left_percent: args.left,
        scale_g: 1e3 * args.scale,
        scents: scents.into_iter().map(|(ingredient, mass_g)| ScentMass { ingredient, mass_g }).collect(),
        colours: args.pigment.iter().map(|wish| wish.colour(teaspoon_ml)).collect(),
        jugs: args.split,
        labour: args.labour,
        packaging: args.packaging,
        market: args.market.into(),
        number: args.number.clone(),
        plans: (!args.no_plans).then(|| args.planning()),
        units: args.units,
    };
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let in_formula = |id: &IngredientId| formula.parts.iter().any(|part| part.ingredient == *id);
    let added = asked.scents.iter().filter_map(|scent| find(&loaded.library, &scent.ingredient, "--scent").ok());
    loaded.about.write(added.filter(|id| !in_formula(id)), streams)?;
    let model = match (args.no_plans, args.recording.record) {
        (true, _) => builtin_model()?,
        (false, true) => profile.model_to_write(streams)?,
        (false, false) => profile.model(streams)?,
    };
    let engine = Engine { library: loaded.library, model };
    let answer = progress::watched(|control| batch(&engine, &asked, control))??;
    answer.figures.notes.iter().try_for_each(|note| streams.remarks.note(note))?;
    if args.recording.record {
        let unscented = asked.scents.is_empty();
        let pour = Pour {
            recording: &args.recording,
            asked: &asked,
            library: &engine.library,
            formula: if unscented { formula } else { &answer.figures.whole },
            nameless: formula.name == nameless(1),
            figures: &answer.figures,
        };
        record(&pour, profile, streams)?;
    }
    streams.figures(&answer, if args.json { Form::Json } else { Form::Whole })?;
    if let Some(path) = &args.out {
        save(path, &table(&answer.figures.lines)?)?;
        streams.remarks.note(&format!("weigh sheet written into {}", path.display()))?;
    }
    if let Some(path) = &args.page {
        save(path, page(&answer.document, args.number.as_deref()).as_bytes())?;
        streams.remarks.note(&format!("page to print written into {}", path.display()))?;
    }
    Ok(())
}

/// What is left of each delivery, by its key, or, where the lot file does not know it, by the ingredient it is a delivery of.
fn in_stock(stock: &[LotStock], library: &Library) -> Vec<(String, f64)> {
    let of = |one: &LotStock| {
        let left_g = one.left_g()?.max(0.0);
        // A scent is like an ingredient for its physics alone.
        let own = ["inci", "kind", "limit_percent", "allergens"].iter().any(|key| one.lot.figures.contains_key(*key));
        match library.id_of(&one.lot.key) {
            Some(_) => Some((one.lot.key.clone(), left_g)),
            None => (!own).then(|| (one.lot.like.clone(), left_g)),
        }
    };
    stock.iter().filter_map(of).collect()
}

/// The weigh sheet as CSV.
fn table(lines: &[Line]) -> Result<Vec<u8>, CliError> {
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(["ingredient", "percent", "mass_g", "running_g", "price"]).map_err(failed)?;
    for Line { ingredient, line } in lines {
        let price = line.price.map_or_else(String::new, |price| format!("{price:.4}"));
        let cells =
            [guard(ingredient), format!("{:.4}", line.percent), plain(line.mass_g), plain(line.running_g), price];
        writer.write_record(&cells).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}

/// Reads `NAME=AMOUNT`; returns the key of the ingredient and g.
fn named_mass(library: &Library, of: &Masses, text: &str, teaspoon_ml: f64) -> Result<(String, f64), Box<Fault>> {
    let wrong = |what: String| Box::new(Fault::new(of.code, format!("{}: {what}", of.option)).hint(of.hint));
    let (written, amount) = text.rsplit_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", name(text))))?;
    let ingredient = library.get(find(library, written.trim(), of.option)?);
    let of_volume = |millilitres: f64| millilitres * ingredient.map_or(f64::NAN, |one| one.density_g_ml);
    let share = |fault: Box<Fault>| {
        let to_formula = "A share of the bar in % belongs in the formula.";
        if amount.trim_end().ends_with('%') { Box::new(fault.hint(to_formula)) } else { fault }
    };
    let mass_g = match parse_measure(amount).map_err(|error| share(wrong(error.to_string())))? {
        Measure::Grams(grams) => grams,
        Measure::Millilitres(millilitres) => of_volume(millilitres),
        Measure::Teaspoons(count) => of_volume(count * teaspoon_ml),
    };
    Ok((ingredient.map_or_else(String::new, |one| one.key.clone()), mass_g))
}
