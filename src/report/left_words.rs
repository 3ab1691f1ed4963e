//! What a visit left to be quoted for, in words for the customer: what is to be done where the record says it for them,
//! else what it is about and when it was seen. The note beside it is the technician's and is never shown.

use chrono::NaiveDate;

use crate::records::Site;
use crate::records::log::Left;
use crate::report::format;

/// "the cover of north (new strap), seen on 5 Oct 2026".
pub fn left_words(site: &Site, left: &Left, seen: NaiveDate) -> String {
    let address = left.at.as_str();
    let about = about(site, address);
    let seen = format::short_date(seen);
    match &left.what {
        Some(what) => format!("{about}: {} (seen on {seen})", what.0),
        None => format!("{about}: seen on {seen}; what is to be done will stand in its quotation"),
    }
}

/// "the pump at hydro, jets 1": what stands at an address, with its kind.
fn about(site: &Site, address: &str) -> String {
    let place = format::place(address).to_lowercase();
    let spas = || site.spas.iter();
    if spas().any(|spa| spa.at.as_str() == address) {
        return format!("the spa {place}");
    }
    if spas().flat_map(|spa| &spa.pumps).any(|pump| pump.at.as_str() == address) {
        return format!("the pump {place}");
    }
    if spas().flat_map(|spa| &spa.filters).any(|filter| filter.at.as_str() == address) {
        return format!("the filter {place}");
    }
    // Equipment is called by its kind or says what it is by its name.
    format!(
        "the {}",
        address.rsplit('/').next().map_or(place.clone(), |last| {
            format!("{} of {}", format::words(last), format::words(address.split('/').next().unwrap_or(address)))
        })
    )
}
