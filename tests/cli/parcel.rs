//! `parcel`: the answer, the routes, the files written, and what is refused.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run, run_in, run_on};

const BAR: &str = "beeswax 26, mango butter 32, sunflower oil 42";

/// Along a built-in route, with few trials.
fn parcel(more: &[&str]) -> Run {
    run(&[&["parcel", BAR, "--draws", "16"], more].concat())
}

/// Along a file.
fn along(text: impl AsRef<[u8]>) -> Run {
    run_on("r.csv", text, &["parcel", BAR, "--draws", "16", "--route", "r.csv", "--json"])
}

#[test]
fn a_parked_car_in_full() {
    assert_snapshot!(parcel(&["--route", "parked-car"]).shown(), @"
    exit 0
    stdout:
    Sunflower oil 42 / mango butter 32 / beeswax 26  (rested, in the post)

    Keeps its shape on this route: unlikely (13 %).
    The core gets to 48.0 °C (48.0 to 48.2); at most 91 % (85 to 93) of the bar is liquid,
      oils included, against 63 % when it is sent.
    It keeps its shape for a day up to 41 °C (29 to 53); here its mean temperature gets to
      48.1 °C (48.1 to 48.2).
    It fails after 1.1 h (0.45 to over 4.0).
    One bar of 44 g, 60 mm × 40 mm × 20 mm (no size was given); sent at 20 °C along
      parked-car (4.0 h, 26 to 48 °C).

    What helps, the most reliable first
      packed                    keeps its shape   core gets to       liquid, %   fails after
     ────────────────────────────────────────────────────────────────────────────────────────────────
      20 mm of foam, 200 g of   over 99 %         20.0 °C                   63   -
      ice
      200 g of ice              over 99 %         25.8 °C (25.6 to          70   -
                                                  25.8)
      20 mm of foam             25 %              43.7 °C (42.8 to          86   2.8 h (1.1 to over
                                                  44.6)                          4.0)
      as planned: paper only    13 %              48.0 °C (48.0 to          91   1.1 h (0.45 to over
                                                  48.2)                          4.0)
      More wax: a bar that with 95 % confidence holds to 49 °C keeps its shape sent like
        this with 90 % or more; `barwright adjust FORMULA --hold 49C --confidence 95` says
        whether there is one.

    Along the way, central estimate
      h      air, °C   core   mean   liquid, %
     ──────────────────────────────────────────
      0           26     20     20          63
      0.50        44     26     30          76
      1.0         48     37     40          83
      1.5         48     43     45          86
      2.0         48     45     46          89
      2.5         48     47     47          90
      3.0         48     47     48          91
      3.5         48     48     48          91
      4.0         48     48     48          91

    What this rests on
      Conduction with the melting curve of this blend, along the crystals it has. It fails
        when its mean temperature reaches that to which it keeps its shape for a day (a rule
        of thumb): a short peak is judged strictly. Of several bars in a box the warmest is
        judged, one at a corner. Still air; sun on the parcel, shocks and the weight of
        other parcels are left out.
      The bar is wrapped in paper and hangs free in the air; foam and ice come with a carton
        around it. Foam has 0.035 W/mK and no gaps. Ice is frozen at 0 °C, lies in flat
        packs of 20 mm and takes 334 kJ/kg; the bars' own heat does not melt it. How well a
        pack cools the air of its box is a judgement: try it once with a thermometer.
      The route. Rise in a closed car in sun from 26 °C outside: 23.7 (1 - exp(-t / 21.6
        min)), our fit to +22 K in 60 min with 80 % of it in the first 30; then held to 4 h
        (our choice), near the 47.6 °C of a steady cabin in sun. Estimated: McLaren, C. and
        Null, J. and Quinn, J. (2005). Heat stress from enclosed vehicles: moderate ambient
        temperatures cause significant temperature rise in enclosed vehicles. Pediatrics.
        rise of 22 K in 60 min, 80 per cent of it in the first 30, read; the curve is our
        fit.
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
      Leaks: A bar that melts leaks oil, which goes through paper and board and stains other
        mail: close each in a bag or a tin that holds oil.
      Carriers: Ask your carrier what it takes: wet packs and dry ice have rules of their
        own, and no carrier promises a temperature unless it says so.
    ");
}

#[test]
fn a_box_with_foam_and_ice_in_us_units() {
    let more = ["--route", "hot day", "--bars", "12", "--size", "2.5x1in", "--insulate", "1in", "--ice", "10oz"];
    let us = [&more[..], &["--units", "us", "--start", "70F"]].concat();
    assert_snapshot!(parcel(&us).shown(), @"
    exit 0
    stdout:
    Sunflower oil 42 / mango butter 32 / beeswax 26  (rested, in the post)

    Every bar keeps its shape on this route: unlikely (19 %).
    The core gets to 110.9 °F (108.9 to 112.9); at most 87 % (84 to 90) of the bar is
      liquid, oils included, against 65 % when it is sent.
    A bar keeps its shape for a day up to 106 °F (83 to 128); here the warmest one, at a
      corner of the box, gets to 113.1 °F (111.2 to 114.8) in its mean, all together to
      112.5 °F (110.5 to 114.3).
    The warmest fails after 18 h (14 to over 24).
    Its edges get to 120.4 °F (119.6 to 122.0): they go soft before the bar as a whole.
    12 bars of 2.6 oz, each 2.5 in across, 1 in high; sent at 70 °F along hot-day (24 h, 86
      to 145.4 °F).

    What helps, the most reliable first
      packed                  keeps its shape   core gets to           liquid, %   fails after
     ───────────────────────────────────────────────────────────────────────────────────────────────────
      1 in of foam, 42 oz     over 99 %         70.0 °F                       65   -
      of ice
      1.8 in of foam, 42 oz   over 99 %         70.0 °F                       65   -
      of ice
      sent 10 h later on      81 %              92.3 °F (90.9 to              80   -
      this route                                93.5)
      1.8 in of foam, 10 oz   50 %              102 °F (97 to 103)            82   -
      of ice
      as planned: 1 in of     19 %              110.9 °F (108.9 to            87   18 h (14 to over 24)
      foam, 10 oz of ice                        112.9)
      carton only             under 1 %         132.2 °F (129.3 to            97   11 h (4.1 to 15)
                                                133.7)
      The ice has melted: 1 in of foam, 42 oz of ice after 17 h; 1.8 in of foam, 42 oz of
        ice after 23 h; sent 10 h later on this route after 5.3 h; 1.8 in of foam, 10 oz of
        ice after 11 h; as planned: 1 in of foam, 10 oz of ice after 9.2 h.
      More wax: a bar that with 95 % confidence holds to 115 °F keeps its shape sent like
        this with 90 % or more; `barwright adjust FORMULA --hold 115F --confidence 95` says
        whether there is one.

    Along the way, central estimate
      h     air, °F   air in the box   core   corner bar   mean of all   liquid, %
     ──────────────────────────────────────────────────────────────────────────────
      0          91               54     70           70            70          65
      3.0        90               54     67           63            63          61
      6.0        88               53     61           58            58          60
      9.0       108               61     58           58            58          60
      12        135              100     62           70            69          64
      15        145              125     74           91            88          76
      18        135              130     93          108           107          84
      21        100              113    108          113           112          87
      24         91              101    111          109           110          85

    What this rests on
      Conduction with the melting curve of this blend, along the crystals it has. It fails
        when its mean temperature reaches that to which it keeps its shape for a day (a rule
        of thumb): a short peak is judged strictly. Of several bars in a box the warmest is
        judged, one at a corner. Still air; sun on the parcel, shocks and the weight of
        other parcels are left out.
      The bars, in paper, are stacked 2 × 2 × 3 in a carton that touches them, as one block,
        round ones as square ones of their volume. Foam has 0.035 W/mK and no gaps. Ice is
        frozen at 0 °C, lies in flat packs of 20 mm and takes 334 kJ/kg; the bars' own heat
        does not melt it. How well a pack cools the air of its box is a judgement: try it
        once with a thermometer.
      The route. Air in a closed van or store through a basic hot day, hours 1 to 24; hour 0
        is hour 24. Recalled: US Department of Defense. MIL-STD-810, Method 501: High
        temperature. hourly air temperatures of storage and transit, hot dry and basic hot,
        recalled.
      In brackets: 90 % intervals from 16 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
      Leaks: A bar that melts leaks oil, which goes through paper and board and stains other
        mail: close each in a bag or a tin that holds oil.
      Ice: Water settles on cold bars and cold packs: bag both, and let the bars warm up in
        their bag. Keep paper between ice and bars.
      Carriers: Ask your carrier what it takes: wet packs and dry ice have rules of their
        own, and no carrier promises a temperature unless it says so.
    ");
}

#[test]
fn the_routes_are_listed_with_their_status() {
    assert_snapshot!(run(&["parcel", "--routes"]).shown(), @"
    exit 0
    stdout:
    Built-in routes  (for --route)

      route               air, °C        h   status
     ──────────────────────────────────────────────────
      shop                30            24   estimated
      usual-summer-post   30.9          24   read
      summer-cycle        22 to 35      24   recalled
      hot-parcel          40            24   read
      parked-car          26 to 48.2   4.0   estimated
      sunlit-mailbox      58           4.0   recalled
      desert              60            24   read
      hot-day             30 to 63      24   recalled
      hottest-day         33 to 71      24   recalled
    Status: read, seen in the source; recalled, quoted from memory of it; estimated, worked
      out by us.

    What they stand for, and where they come from
      shop: A warm shop for a day; our choice of level. Estimated: The authors of this table
        (2026). Our own working: correlation, interpolation, random distribution or
        judgement. the note of the row says how the figure was obtained.
      usual-summer-post: Heat level of a profile from 82 lanes, held for a day (our choice
        of length); not a worst case, readings over 35 °C are rare and brief. Read:
        International Safe Transit Association. Standard 7E: Testing standard for thermal
        transport packaging used in parcel delivery. its heat level and how it was made
        read.
      summer-cycle: A summer day in steps; a convention, not from measurements. Recalled:
        International Safe Transit Association. Procedure 7D: Temperature test for transport
        packaging. its summer cycle of 24 h recalled.
      hot-parcel: Fixed high level of a parcel test, shortest of its lengths (24 h). Read:
        International Organization for Standardization (2021). ISO 22982-2:2021, Transport
        packaging: Temperature-controlled transport packages for parcel shipping, Part 2:
        General specifications of testing. fixed example levels of 23 and 40 °C and lengths
        of 24, 48 and 72 h read.
      parked-car: Rise in a closed car in sun from 26 °C outside: 23.7 (1 - exp(-t / 21.6
        min)), our fit to +22 K in 60 min with 80 % of it in the first 30; then held to 4 h
        (our choice), near the 47.6 °C of a steady cabin in sun. Estimated: McLaren, C. and
        Null, J. and Quinn, J. (2005). Heat stress from enclosed vehicles: moderate ambient
        temperatures cause significant temperature rise in enclosed vehicles. Pediatrics.
        rise of 22 K in 60 min, 80 per cent of it in the first 30, read; the curve is our
        fit.
      sunlit-mailbox: Highest level in a mailbox in sun, held for 4 h (our choice).
        Recalled: Black, J. C. and Layloff, T. (1996). [temperatures in mailboxes in
        summer]. recalled; not found again.
      desert: Desert conditioning; its humidity (15 %) does not matter here; held for a day
        (our choice). Read: ASTM International. D4332: Conditioning containers, packages, or
        packaging components for testing. its desert level of 60 °C read in an excerpt.
      hot-day: Air in a closed van or store through a basic hot day, hours 1 to 24; hour 0
        is hour 24. Recalled: US Department of Defense. MIL-STD-810, Method 501: High
        temperature. hourly air temperatures of storage and transit, hot dry and basic hot,
        recalled.
      hottest-day: Air in a closed van or store through a hot dry day, hours 1 to 24; hour 0
        is hour 24; no natural bar is made for it. Recalled: US Department of Defense.
        MIL-STD-810, Method 501: High temperature. hourly air temperatures of storage and
        transit, hot dry and basic hot, recalled.
    ");
    let json = run(&["parcel", "--routes", "--json"]).json();
    assert!(
        json.as_array()
            .unwrap()
            .iter()
            .all(|one| ["read", "recalled", "estimated"].contains(&one["status"].as_str().unwrap()))
    );
}

/// Source: McLaren 2005, Pediatrics 116:e109 (read): +22 K in 60 min, 80 % of it in the first 30; the air the bar is in.
#[test]
fn the_parked_car_warms_as_measured() {
    let json = parcel(&["--route", "parked-car", "--json"]).json();
    let at = |hours: f64| {
        let history = json["history"].as_array().unwrap();
        let one = history.iter().find(|one| (one["hours"].as_f64().unwrap() - hours).abs() < 1e-9).unwrap();
        one["outside_c"].as_f64().unwrap()
    };
    let rise = at(1.0) - at(0.0);
    assert!((rise - 22.0).abs() < 0.5, "{rise}");
    assert!(((at(0.5) - at(0.0)) / rise - 0.8).abs() < 0.01);
}

/// What `assess` says it holds to decides: below its interval it keeps its shape, above it does not.
#[test]
fn parcel_agrees_with_assess() {
    let hold = run(&["assess", BAR, "--draws", "64", "--json"]).json()["warmth"]["hold_c"].clone();
    let keeps = |celsius: f64| {
        let route = format!("hours,temperature_c\n0,{celsius}\n5,{celsius}\n10,{celsius}\n15,{celsius}\n");
        let answer = run_on("r.csv", route, &["parcel", BAR, "--draws", "64", "--route", "r.csv", "--json"]).json();
        answer["asked"]["keeps_shape"].as_f64().unwrap()
    };
    assert!(keeps(hold["low"].as_f64().unwrap() - 2.0) > 0.9);
    assert!(keeps(hold["high"].as_f64().unwrap() + 2.0) < 0.1);
}

#[test]
fn ways_are_ranked_and_the_same_seed_gives_the_same_bytes() {
    let more = ["--route", "hot-day", "--json", "--bars", "6"];
    let first = parcel(&more);
    let json = first.json();
    let sure: Vec<f64> =
        json["ways"].as_array().unwrap().iter().map(|one| one["keeps_shape"].as_f64().unwrap()).collect();
    assert!(sure.windows(2).all(|pair| pair[0] >= pair[1]), "{sure:?}");
    assert_eq!(first, parcel(&more));
}

#[test]
fn table_and_plot_are_written() {
    let folder = TempDir::new().unwrap();
    let files = ["--out", "course.csv", "--plot", "course.svg"];
    let route = ["parcel", BAR, "--draws", "16", "--route", "parked-car", "--ice", "100g"];
    let answer = run_in(folder.path(), &[&route[..], &files].concat(), b"");
    assert_eq!(answer.status, 0, "{}", answer.stderr);
    let table = std::fs::read_to_string(folder.path().join("course.csv")).unwrap();
    assert!(
        table
            .starts_with("hours,outside_c,inside_c,core_c,mean_c,warmest_c,melted_percent,corner_bar_c\n0.0000,26.00,"),
        "{table}"
    );
    assert!(table.lines().count() > 200);
    let plot = std::fs::read_to_string(folder.path().join("course.svg")).unwrap();
    assert!(plot.starts_with("<svg") && plot.contains("mean of the bar"));
}

#[test]
fn odd_routes_are_told_about_and_answered() {
    let gap = along("hours,temperature_c\n0,20\n2,45\n16,30\n");
    assert_eq!(gap.status, 0);
    assert_snapshot!(gap.stderr, @"note: r.csv:4:1: no reading for 14 h before line 4: a straight line bridges it, and what was hotter in between is lost");
    let one = along("hours,temperature_c\n0,35\n");
    assert_eq!(one.json()["route"]["hours"], 24.0);
    assert_snapshot!(one.stderr, @"note: r.csv:2:1: the route has one row: its temperature is held");
    // A logger's million rows, one every tenth of a second; their means are 37.
    let rows: String = std::iter::once("seconds;temp_c\n".to_owned())
        .chain((0..1_000_000).map(|n| format!("{},{};{},5\n", n / 10, n % 10, 33 + n % 8)))
        .collect();
    let million = along(&rows);
    assert!((million.json()["asked"]["core_c"]["value"].as_f64().unwrap() - 37.0).abs() < 0.3, "{}", million.stderr);
    assert_snapshot!(million.stderr, @"note: the 1000000 rows of the route are averaged over 11 min each");
}

#[test]
fn every_error_of_a_route_at_once() {
    assert_snapshot!(along("hours;temperature_c\n0;20\n2;-300\nx;30\n3;31\n1;NaN\n1;32\n").shown(), @"
    exit 1
    stderr:
    error[below-absolute-zero]: `-300` is -300 °C, below absolute zero at -273.15 °C
     --> r.csv:3:3
      |
    3 | 2;-300
      |   ^^^^
      |
      = hint: Write a temperature such as `45`, `45 C`, `113 F` or `318 K`.

    error[not-a-time]: `x` is not a time
     --> r.csv:4:1
      |
    4 | x;30
      | ^
      |
      = hint: Write a number, such as `4.5`; for a clock, name the column `time`.

    error[temperature-not-finite]: `NaN` is not a finite temperature
     --> r.csv:6:3
      |
    6 | 1;NaN
      |   ^^^
      |
      = hint: Write a temperature such as `45`, `45 C`, `113 F` or `318 K`.

    error[route-unsorted]: line 7 is 2 h before line 5
     --> r.csv:7:1
      |
    7 | 1;32
      | ^
      |
      = hint: Sort the rows by time, earliest first.

    4 errors in all
    ");
    assert_snapshot!(along("hour,temperature\n0,86\n").shown(), @"
    exit 1
    stderr:
    error[no-scale]: `temperature` does not say °C or °F
     --> r.csv:1:6
      |
    1 | hour,temperature
      |      ^^^^^^^^^^^
      |
      = hint: Name the column `temperature_c` or `temperature_f`.
    ");
    assert_snapshot!(along("").shown(), @"
    exit 1
    stderr:
    error[empty]: `r.csv` is empty
    --> r.csv
     = hint: Write a header line such as `hours,temperature_c` and one line for each time.
    ");
    assert_snapshot!(parcel(&["--route", "parkd car"]).shown(), @"
    exit 1
    stderr:
    error[unknown-route]: no route is called `parkd car`
     |
     = hint: The nearest names are `parked-car`, `hot-parcel` and `hot-day`; `barwright parcel
             --routes` lists all.
     = hint: To name a file, write its ending too, such as `.csv`.
    ");
    assert_snapshot!(parcel(&["--route", "lane.csv"]).shown(), @"
    exit 1
    stderr:
    error[no-file]: there is no file `lane.csv`
    --> lane.csv
     = hint: There is no formula file in that folder.
    ");
}

#[test]
fn odd_bars_are_refused_or_answered() {
    for size in ["0x40x20mm", "60x40x0mm", "2000x40x20mm", "-60x40x20mm"] {
        let answer = parcel(&["--route", "shop", &format!("--size={size}")]);
        assert_eq!((answer.status, answer.stdout.as_str()), (2, ""), "{size}: {}", answer.stderr);
    }
    // A metre of wax in a desert: its middle feels nothing in a day, its edges fail.
    let metre = parcel(&["--route", "desert", "--size", "1000x1000x1000mm", "--json"]).json();
    assert!((metre["asked"]["core_c"]["value"].as_f64().unwrap() - 20.0).abs() < 0.2);
    assert!(metre["asked"]["edge_c"]["value"].as_f64().unwrap() > 50.0);
}

#[test]
fn wrong_command_lines() {
    for more in [
        &[][..],
        &["--route", "shop", "--bars", "0"],
        &["--route", "shop", "--bars", "1001"],
        &["--route", "shop", "--ice", "5%"],
        &["--route", "shop", "--ice", "2000kg"],
        &["--route", "shop", "--ice", "300ml"],
        &["--route", "shop", "--insulate", "1m"],
        &["--route", "shop", "--cell", "0mm"],
        &["--route", "shop", "--start", "-300"],
        &["--route", "shop", "--size", "60x40x20mm", "--mould", "m.toml"],
        &["--route", "shop", "--routes"],
    ] {
        let answer = parcel(more);
        assert_eq!((answer.status, answer.stdout.as_str()), (2, ""), "{more:?}: {}", answer.stderr);
    }
    assert_eq!(parcel(&["--route", "shop", "--ice", "0"]), parcel(&["--route", "shop"]));
}
