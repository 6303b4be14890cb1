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

    Firm enough for fine detail: likely. Relief of 0.8 mm should leave the mould whole at 20 °C
      (78 in 100). Finest relief: 0.48 mm (0.12 to 2.0).
    At 20 °C, once rested, it is as firm as liquid oil with 40 % (30 to 56) beeswax in it.
    Keeps its shape for a day up to 40 °C (28 to 48); at 40 °C: open, 49 in 100.
    On skin it glides (96 in 100): 80 % (75 to 83) of it is melted at 33 °C.
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
      landmark          °C              test
     ─────────────────────────────────────────────────────────────────────────────────────────
      softening onset   25 (23 to 26)   half the firmness of 20 °C is gone; needle at several
                                        temperatures, ASTM D1321
      slip point        56 (51 to 61)   open tube; ISO 6321, AOCS Cc 3-25
      drop point        57 (52 to 62)   falling drop; AOCS Cc 18-80, ASTM D127
      end of melting    57 (53 to 62)   1 % of crystals left; calorimetry, AOCS Cj 1-94
      clear point       60 (56 to 64)   last crystal gone; AOCS Cc 1-25

    Solids and firmness
      °C   solids, %       yield stress, kPa   as firm as beeswax in oil, %   needle, 0.1 mm
     ──────────────────────────────────────────────────────────────────────────────────────────────
      20   36 (32 to 40)   70 (25 to 240)      40 (30 to 56)                  82 (33 to 240)
      25   31 (24 to 35)   34 (11 to 120)      34 (25 to 47)                  180 (49 to over 250)
      30   22 (19 to 30)   12 (3.4 to 51)      26 (22 to 38)                  over 250
      35   19 (15 to 21)   6.4 (1.6 to 21)     25 (20 to 29)                  over 250

    What this rests on
      Composition: 58 figures, 34 quoted from memory of their source (58 % of the mass) and
      24 estimated (42 % of the mass).
      In brackets: 90 % intervals from 256 trial computations (seed 20) over lots, melting
      points and model parameters.

    Mind
      Accuracy: In the model mango butter (22 %), rested, melts some 5 °C too low against
        one published figure.
      Nuts: Nut-derived: shea butter. Say so plainly on the label.
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.
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
        30 °C and 3.0 times at 35 °C; at least 86 in 100 sure.
      Fern hand bar, summer takes finer relief: 0.20 (0.065 to 0.73) against 0.48 (0.12 to
        2.0) mm; 89 in 100 sure.
      Fern hand bar, summer keeps its shape 6 °C hotter: 46 (36 to 53) against 40 (28 to 48) °C;
        93 in 100 sure.
      Fern hand bar, winter melts more on skin: 80 (75 to 83) against 74 (68 to 77) %; 97 in
        100 sure.

    Which to pour
      Summer post: Fern hand bar, summer (keeps its shape up to 46 °C (36 to 53); 93 in 100
        sure).
      Finest detail: Fern hand bar, summer (finest relief 0.20 mm (0.065 to 0.73); 89 in 100
        sure).
      Skin: Fern hand bar, winter (96 in 100) and Fern hand bar, summer (82 in 100) glide.

    Side by side
                                      Fern hand bar, winter   Fern hand bar, summer
     ───────────────────────────────────────────────────────────────────────────────
      fine detail, 0.8 mm             likely (78 in 100)      yes (97 in 100)
      finest relief, mm               0.48 (0.12 to 2.0)      0.20 (0.065 to 0.73)
      holds 40 °C                     open (49 in 100)        likely (88 in 100)
      keeps its shape to, °C          40 (28 to 48)           46 (36 to 53)
      on skin                         glides (96 in 100)      glides (82 in 100)
      melted on skin, %               80 (75 to 83)           74 (68 to 77)
      risk of grain, 0 to 1           0.04                    0.03
      softening onset, °C             25 (23 to 26)           25.5 (24.2 to 27.2)
      slip point, °C                  56 (51 to 61)           57 (53 to 62)
      drop point, °C                  57 (52 to 62)           57 (54 to 63)
      end of melting, °C              57 (53 to 62)           59 (56 to 65)
      clear point, °C                 60 (56 to 64)           62 (59 to 67)
      solids at 20 °C, %              36 (32 to 40)           44 (38 to 48)
      solids at 25 °C, %              31 (24 to 35)           38 (30 to 43)
      solids at 30 °C, %              22 (19 to 30)           30 (25 to 37)
      solids at 35 °C, %              19 (15 to 21)           26 (21 to 28)
      yield stress at 20 °C, kPa      70 (25 to 240)          140 (48 to 400)
      yield stress at 25 °C, kPa      34 (11 to 120)          75 (24 to 220)
      yield stress at 30 °C, kPa      12 (3.4 to 51)          35 (11 to 110)
      yield stress at 35 °C, kPa      6.4 (1.6 to 21)         19 (6.1 to 55)
      as beeswax in oil at 20 °C, %   40 (30 to 56)           53 (42 to 69)
      as beeswax in oil at 25 °C, %   34 (25 to 47)           46 (35 to 61)
      as beeswax in oil at 30 °C, %   26 (22 to 38)           39 (32 to 52)
      as beeswax in oil at 35 °C, %   25 (20 to 29)           37 (31 to 44)
      needle at 20 °C, 0.1 mm         82 (33 to 240)          45 (23 to 120)
      needle at 25 °C, 0.1 mm         180 (49 to over 250)    77 (34 to 250)
      needle at 30 °C, 0.1 mm         over 250                170 (52 to over 250)
      needle at 35 °C, 0.1 mm         over 250                over 250
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
      Softening onset, slip point and risk of grain.

    Mind
      Accuracy, Fern hand bar, winter: In the model mango butter (22 %), rested, melts some
        5 °C too low against one published figure.
      Accuracy, Fern hand bar, summer: In the model mango butter (25 %), rested, melts some
        5 °C too low against one published figure.
      Nuts: Nut-derived: shea butter. Say so plainly on the label.
      Origin: Animal-derived: beeswax. The bar is not vegan.
      Heat: Melt in a water bath, no hotter than 85 to 90 °C, never unattended. Keep water
        out of the melt and never put water on a wax fire: smother it. A microwave heats
        unevenly: short bursts, stir between.
      Safety: Scent limits come only from the supplier's certificate for leave-on use. Patch
        test a new blend. Labels and safety assessment follow your local rules: ask your
        authority or a safety assessor. Firmness is not a safety assessment.

    In brackets: 90 % intervals from 256 trial computations (seed 20) over lots, melting
    points and model parameters.
    ");
}
