//! Whole answers with their figures. They change with every calibration of the model: regenerate them, then read the diff.

use insta::assert_snapshot;

use crate::{demo_folder, run_in};

#[test]
fn assess_in_full() {
    assert_snapshot!(run_in(demo_folder(), &["assess", "fern-hand-bar-winter.toml"], b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter  (rested)
    A gardener's hand bar in a fern-relief mould, for cold sheds: soft enough to glide on
      cold hands.

    Firm enough for fine detail: likely. Relief of 0.8 mm should leave the mould whole at 20 °C,
      just set (75 %). Finest relief: 0.53 mm (0.16 to 1.9).
    At 20 °C, once rested, it is as firm as liquid oil with 40 % (32 to 52) beeswax in it.
    Keeps its shape for a day up to 40 °C (29 to 47); at 40 °C: uncertain, 48 %.
    On skin it glides (98 %): 80 % (78 to 83) of it is melted at 33 °C.
    Risk of grain when cooled slowly: low, 0.04 on a scale from 0 to 1.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
      group    ingredient      part   group sum
     ───────────────────────────────────────────
      wax      Beeswax         26.0        26.0
      butter   Mango butter    22.0        32.0
               Shea butter     10.0
      liquid   Sunflower oil   30.0        42.0
               Jojoba oil      12.0

    Melting
      landmark                   °C                    test
     ──────────────────────────────────────────────────────────────────────────────────────────────────
      half as firm as at 20 °C   24.8 (23.8 to 26.1)   needle at several temperatures; ASTM D1321
      slip point                 56 (52 to 59)         open tube; ISO 6321, AOCS Cc 3-25
      drop point                 57 (54 to 60)         falling drop; AOCS Cc 18-80, ASTM D127
      end of melting             57 (54 to 61)         1 % of crystals left; calorimetry, AOCS Cj 1-94
      clear point                59 (57 to 63)         last crystal gone; AOCS Cc 1-25
      Half as firm as at 20 °C is how early a bar softens under a finger; it keeps its shape
        until it sinks under its own weight or weeps oil, as a rule much hotter.

    Solids and firmness
      °C   solids, %       yield stress, kPa   as firm as beeswax in oil, %   needle, 0.1 mm
     ──────────────────────────────────────────────────────────────────────────────────────────────
      20   36 (33 to 38)   68 (27 to 220)      40 (32 to 52)                  84 (34 to 230)
      25   31 (27 to 33)   33 (13 to 110)      34 (27 to 44)                  180 (52 to over 250)
      30   22 (19 to 28)   12 (3.7 to 39)      26 (23 to 33)                  over 250
      35   19 (16 to 21)   6.4 (1.8 to 20)     25 (21 to 28)                  over 250

    What this rests on
      Composition: 62 figures, 34 quoted from memory of their source (57 % of the mass) and
        28 estimated (43 % of the mass).
      In brackets: 90 % intervals from 256 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions: nuts (shea butter); origin (beeswax); heat; safety; `--cautions` for the
      whole.
    ");
}

#[test]
fn compare_in_full() {
    let arguments = ["compare", "fern-hand-bar-winter.toml", "fern-hand-bar-summer.toml"];
    assert_snapshot!(run_in(demo_folder(), &arguments, b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter and Fern hand bar, summer  (rested)

    What decides
      Fern hand bar, summer is firmer: 2.0 times at 20 °C, 2.2 times at 25 °C, 2.9 times at
        30 °C and 3.0 times at 35 °C; at least 89 % sure.
      Fern hand bar, summer takes finer relief: 0.22 (0.067 to 0.70) against 0.53 (0.16 to
        1.9) mm; the model's own odds: 93 %.
      Fern hand bar, summer keeps its shape 6 °C hotter: 46 (37 to 51) against 40 (29 to 47) °C;
        the model's own odds: 99 %.
      Fern hand bar, winter melts more on skin: 80 (78 to 83) against 74 (72 to 76) %; over
        99 % sure.

    Which to pour
      Summer post: Fern hand bar, summer (keeps its shape up to 46 °C (37 to 51); the
        model's own odds: 99 %).
      Finest detail: Fern hand bar, summer (finest relief 0.22 mm (0.067 to 0.70); the
        model's own odds: 93 %).
      Skin: Fern hand bar, winter (98 %) and Fern hand bar, summer (85 %) glide.

    Side by side
                                      Fern hand bar, winter   Fern hand bar, summer
     ───────────────────────────────────────────────────────────────────────────────
      fine detail just set, 0.8 mm    likely (75 %)           yes (98 %)
      finest relief just set, mm      0.53 (0.16 to 1.9)      0.22 (0.067 to 0.70)
      holds 40 °C                     uncertain (48 %)        likely (88 %)
      keeps its shape to, °C          40 (29 to 47)           46 (37 to 51)
      on skin                         glides (98 %)           glides (85 %)
      melted on skin, %               80 (78 to 83)           74 (72 to 76)
      risk of grain, 0 to 1           0.04                    0.03
      half as firm as at 20 °C, °C    24.8 (23.8 to 26.1)     25.6 (24.4 to 27.1)
      slip point, °C                  56 (52 to 59)           57 (54 to 60)
      drop point, °C                  57 (54 to 60)           57 (55 to 61)
      end of melting, °C              57 (54 to 61)           59 (57 to 63)
      clear point, °C                 59 (57 to 63)           62 (59 to 66)
      solids at 20 °C, %              36 (33 to 38)           43 (40 to 46)
      solids at 25 °C, %              31 (27 to 33)           38 (34 to 40)
      solids at 30 °C, %              22 (19 to 28)           30 (26 to 35)
      solids at 35 °C, %              19 (16 to 21)           26 (22 to 27)
      yield stress at 20 °C, kPa      68 (27 to 220)          140 (54 to 360)
      yield stress at 25 °C, kPa      33 (13 to 110)          74 (27 to 190)
      yield stress at 30 °C, kPa      12 (3.7 to 39)          34 (11 to 93)
      yield stress at 35 °C, kPa      6.4 (1.8 to 20)         19 (6.3 to 52)
      as beeswax in oil at 20 °C, %   40 (32 to 52)           53 (43 to 68)
      as beeswax in oil at 25 °C, %   34 (27 to 44)           46 (39 to 58)
      as beeswax in oil at 30 °C, %   26 (23 to 33)           39 (34 to 47)
      as beeswax in oil at 35 °C, %   25 (21 to 28)           37 (32 to 42)
      needle at 20 °C, 0.1 mm         84 (34 to 230)          46 (25 to 110)
      needle at 25 °C, 0.1 mm         180 (52 to over 250)    78 (37 to 230)
      needle at 30 °C, 0.1 mm         over 250                180 (61 to over 250)
      needle at 35 °C, 0.1 mm         over 250                over 250
      Half as firm as at 20 °C is how early a bar softens under a finger; it keeps its shape
        until it sinks under its own weight or weeps oil, as a rule much hotter.
      Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
                         Fern hand bar, winter   Fern hand bar, summer
     ──────────────────────────────────────────────────────────────────
      wax                                 26.0                    33.0
        Beeswax                           26.0                    28.0
        Candelilla wax                       –                     5.0
      butter                              32.0                    33.0
        Mango butter                      22.0                    25.0
        Shea butter                       10.0                     8.0
      liquid                              42.0                    34.0
        Sunflower oil                     30.0                    24.0
        Jojoba oil                        12.0                    10.0

    Too small or too unsure to matter
      Where half the firmness is gone, slip point and risk of grain.

    What this rests on
      In brackets: 90 % intervals from 256 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions: nuts (shea butter); origin (beeswax); heat; safety; `--cautions` for the
      whole.
    ");
}
