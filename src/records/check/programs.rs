//! Rules about the programs of a pump: speeds its model does not have, two that begin on one day, more hours than a
//! day has.

use chrono::NaiveDate;

use super::Checker;
use crate::diagnostic::{Rule, Severity};
use crate::records::pumps::Speeds;
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::{Pump, Site};

/// More than this is more than a day has, whatever is rounded.
const DAY_HOURS: f64 = 24.0 + 1e-6;

impl Checker<'_> {
    pub(super) fn programs(&mut self, site: &Site, pump: &Pump, path: &str) {
        if pump.usual_program || pump.programs.is_empty() {
            return;
        }
        let path = format!("{path}.program");
        self.speeds_of_programs(site, pump, &path);
        for pair in pump.programs.windows(2).filter(|pair| pair[0].from == pair[1].from) {
            let from = pair[0].from.map(|from| from.0);
            let when = from.map_or_else(|| "with the fitting".to_owned(), |from| format!("on {from}"));
            let message = format!("two programs of `{}` begin {when}", pump.at);
            let hint = "keep one of them, or mend the day the other holds from".to_owned();
            let same = self.that_begin(&path, from);
            let (first, last) = match same.as_slice() {
                [first, .., last] => (Some(first), last.as_str()),
                _ => (None, path.as_str()),
            };
            let second = first.and_then(|first| self.source.beside(first, "the first".to_owned()));
            let told = self.tell(Severity::Error, Rule::ProgramWithoutSense, last, message, Some(hint));
            told.second = second;
            told.left_out = Some("the one written last is used".to_owned());
        }
        for program in &pump.programs {
            let hours = |occupied: bool| -> f64 {
                let of = |base: Option<crate::units::Daily>, guests: Option<crate::units::Daily>| {
                    guests.filter(|_| occupied).or(base).map_or(0.0, |daily| daily.hours)
                };
                let (base, guests) = (program.base(), program.occupied.unwrap_or_default());
                of(base.run, guests.run) + of(base.low, guests.low) + of(base.high, guests.high)
            };
            let most = hours(false).max(hours(true));
            if most > DAY_HOURS {
                let message = format!(
                    "the speeds of a program of `{}` have {most:.1} h a day together, and a day has 24",
                    pump.at
                );
                let hint = "a pump that runs at high speed does not run at low: take those hours off".to_owned();
                let same = self.that_begin(&path, program.from.map(|from| from.0));
                let path = same.last().map_or(path.as_str(), String::as_str);
                self.tell(Severity::Error, Rule::ProgramWithoutSense, path, message, Some(hint)).left_out =
                    Some("low speed counts with what high speed leaves of the day".to_owned());
            }
        }
    }

    /// The written programs of a list that begin on a day, in the order they are written.
    fn that_begin(&self, path: &str, day: Option<NaiveDate>) -> Vec<String> {
        let scalars = self.source.scalars();
        let items = (0..).map(|item| format!("{path}[{item}]")).take_while(|item| self.source.holds(item));
        let from = |item: &str| {
            let field = format!("{item}.from");
            let spot = self.source.find_text(&field).filter(|_| self.source.holds(&field))?;
            let text = scalars.iter().find(|(_, at)| (at.line, at.column) == (spot.line, spot.column))?.0;
            text.parse::<NaiveDate>().ok()
        };
        items.filter(|item| from(item) == day).collect()
    }

    /// A program that names a speed which the pump there did not have.
    fn speeds_of_programs(&mut self, site: &Site, pump: &Pump, path: &str) {
        let models = self.fleet.models_at(site, pump);
        if models.iter().all(|(_, model)| model.is_none()) {
            return;
        }
        let wrong = |program: &ProgramFile, speeds: Speeds| -> Option<Speed> {
            let guests = program.occupied.unwrap_or_default();
            let all = program.base().named().chain(guests.named()).map(|(speed, _)| speed).collect::<Vec<_>>();
            all.into_iter().find(|speed| (*speed == Speed::Run) != (speeds == Speeds::One))
        };
        for (index, program) in pump.programs.iter().enumerate() {
            let from = program.from.map_or(NaiveDate::MIN, |from| from.0);
            let next = pump.programs.get(index + 1).and_then(|next| next.from).map_or(NaiveDate::MAX, |from| from.0);
            // One that begins on the day of an exchange may be of the pump that goes or of the one that comes.
            let before = models.partition_point(|(day, _)| *day < from).saturating_sub(1);
            let since = models.partition_point(|(day, _)| *day <= from).max(1);
            let there = &models[before..since];
            let at_odds = there.iter().filter_map(|(_, model)| wrong(program, model.as_ref()?.speeds));
            let mut at_odds = at_odds.collect::<Vec<_>>().into_iter();
            let known = there.iter().filter(|(_, model)| model.is_some()).count();
            if let Some(speed) = at_odds.next()
                && at_odds.len() + 1 == known
                && known == there.len()
            {
                let (day, model) = there[there.len() - 1];
                let its_model = match &pump.model {
                    Some(name) if day == NaiveDate::MIN => format!("its model `{name}`"),
                    _ => "the model there by then".to_owned(),
                };
                self.wrong_speed(pump, speed, model.map_or(Speeds::One, |model| model.speeds), &its_model, path);
                return;
            }
            for (day, model) in models[since..].iter().filter(|(day, _)| *day < next) {
                let Some(speed) = model.and_then(|model| wrong(program, model.speeds)) else { continue };
                let has = if model.is_some_and(|m| m.speeds == Speeds::One) { "one speed" } else { "two speeds" };
                let message = format!(
                    "`{}` was exchanged on {day} for a model with {has}, but its program goes on naming `{}`",
                    pump.at,
                    speed.word()
                );
                let hint = format!("add a program of the new pump to `program`: `from: {day}` and its hours");
                let Some((visit, ..)) =
                    site.entries(&pump.at).find(|(_, visit, entry)| visit.date.0 == *day && entry.exchanged.is_some())
                else {
                    continue;
                };
                let at = format!("log[{visit}].at.{}.exchanged", pump.at);
                let second = self.source.beside(path, "its program".to_owned());
                let told = self.tell(Severity::Warning, Rule::SpeedNotThere, &at, message, Some(hint));
                told.second = second;
                told.left_out = Some("its hours go on by the program of the pump before".to_owned());
            }
        }
    }

    fn wrong_speed(&mut self, pump: &Pump, speed: Speed, speeds: Speeds, its_model: &str, path: &str) {
        let (has, hint) = match speeds {
            Speeds::One => ("one speed", "name the speed `run`"),
            Speeds::Two => ("two speeds", "name the speeds `low` and `high`"),
        };
        let message =
            format!("the program of `{}` names the speed `{}`, but {its_model} has {has}", pump.at, speed.word());
        self.lose_site(Rule::SpeedNotThere, path, message, Some(hint.to_owned()));
    }
}
