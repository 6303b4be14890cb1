//! What day it is where the maker is.

use std::time::SystemTime;

use barwright_reference::Date;
use jiff::ZonedDateTime;

use crate::error::CliError;
use barwright_answer::Fault;

/// Returns the day of the computer's clock in its time zone.
///
/// # Errors
/// The clock shows a time that no calendar has a day for.
pub fn today() -> Result<Date, CliError> {
    day_of(SystemTime::now())
}

/// Returns the day of a time.
fn day_of(time: SystemTime) -> Result<Date, CliError> {
    ZonedDateTime::try_from(time).map(|time| time.date()).map_err(|error| {
        Fault::new("clock", format!("the clock of this computer shows no day of the calendar: {error}"))
            .hint("Set date and time of the computer, and say it again.")
            .into()
    })
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_clock_beyond_the_calendar_is_told() {
        // The calendar of ISO 8601 has years of four digits: the last second of 9999 is 253402300799 s after 1970 in UTC.
        const LAST_S: u64 = 253_402_300_799;
        const TWO_DAYS_S: u64 = 2 * 86_400;
        let at = |seconds: u64| day_of(SystemTime::UNIX_EPOCH + Duration::from_secs(seconds));
        assert!(at(LAST_S - TWO_DAYS_S).is_ok_and(|day| day.year() == 9999));
        for seconds in [LAST_S + TWO_DAYS_S, 1 << 40, i64::MAX as u64] {
            let told = at(seconds).map_err(|error| (error.kind.exit_status(), error.faults));
            assert!(matches!(&told, Err((1, faults)) if faults.iter().any(|one| one.code == "clock")), "{told:?}");
        }
    }
}
