//! What day it is where the maker is.

use barwright_reference::Date;

/// Returns the day of the computer's clock in its time zone.
pub fn today() -> Date {
    jiff::ZonedDateTime::now().date()
}
