//! Who has how much time left on which day, and which ways are travelled already: the diary a plan is written into.
//! Sites of one area share a trip, so a site beside one that is visited costs little more. It knows days and people as
//! numbers and nothing of records.

use super::one_site::Node;

/// Somebody who makes visits.
#[derive(Debug, Clone, PartialEq)]
pub struct Technician {
    /// Minutes worked on each day, the way included; 0 = away.
    pub minutes: Vec<u32>,
    /// What they may do, a bit each.
    pub skills: u64,
}

/// The way to a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// The area whose sites share a trip.
    pub area: usize,
    /// Minutes there and back.
    pub minutes: u32,
    /// What it costs, the time on the way included.
    pub cost: f64,
}

/// A visit as it stands in the diary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Booked {
    /// The site.
    pub site: usize,
    /// The way to it.
    pub way: Way,
    /// Minutes of work.
    pub minutes: u32,
    /// Whether the work must be done while guests change.
    pub changeover: bool,
}

/// Minutes between guests leaving and arriving on a changeover, 10:00 to 16:00.
pub const CHANGEOVER_MINUTES: u32 = 360;

/// Days of people with what is booked on them.
#[derive(Debug, Clone)]
pub struct Diary {
    technicians: Vec<Technician>,
    /// By technician and day.
    booked: Vec<Vec<Vec<Booked>>>,
}

impl Diary {
    /// An empty one.
    pub fn new(technicians: Vec<Technician>, days: usize) -> Self {
        let booked = technicians.iter().map(|_| vec![Vec::new(); days]).collect();
        Self { technicians, booked }
    }

    /// The people.
    pub fn technicians(&self) -> &[Technician] {
        &self.technicians
    }

    /// What is booked for somebody on a day.
    pub fn of(&self, technician: usize, day: usize) -> &[Booked] {
        &self.booked[technician][day]
    }

    /// The way of a trip that is made already: the longest and the dearest of its sites'.
    fn trip(&self, technician: usize, day: usize, area: usize) -> (u32, f64) {
        self.booked[technician][day]
            .iter()
            .filter(|b| b.way.area == area)
            .fold((0, 0.0), |(minutes, cost), b| (minutes.max(b.way.minutes), b.way.cost.max(cost)))
    }

    /// Minutes somebody is taken on a day, with the ways.
    pub fn taken(&self, technician: usize, day: usize) -> u32 {
        let booked = &self.booked[technician][day];
        let mut sum = 0;
        for (place, one) in booked.iter().enumerate() {
            sum += one.minutes;
            // A trip's way counts once, with its first site.
            if booked[..place].iter().all(|b| b.way.area != one.way.area) {
                sum += self.trip(technician, day, one.way.area).0;
            }
        }
        sum
    }

    /// The visits to a site that could be made, by day: on each day those nobody else makes better.
    /// `only` names who must come on a day where that is settled.
    pub fn nodes(
        &self,
        way: &Way,
        access: impl Fn(usize) -> (u32, bool),
        only: impl Fn(usize) -> Option<usize>,
        nodes: &mut Vec<Node>,
    ) {
        nodes.clear();
        let days = self.booked.first().map_or(0, Vec::len);
        let mut today: Vec<Node> = Vec::new();
        for day in 0..days {
            let (minutes, changeover) = access(day);
            if minutes == 0 {
                continue;
            }
            today.clear();
            let only = only(day);
            for (index, technician) in self.technicians.iter().enumerate() {
                let works = technician.minutes[day];
                if works == 0 || only.is_some_and(|only| only != index) {
                    continue;
                }
                let (trip_minutes, trip_cost) = self.trip(index, day, way.area);
                let spent = self.taken(index, day) + way.minutes.saturating_sub(trip_minutes);
                let mut room = works.saturating_sub(spent).min(minutes);
                if changeover {
                    let taken: u32 = self.booked[index][day].iter().filter(|b| b.changeover).map(|b| b.minutes).sum();
                    room = room.min(CHANGEOVER_MINUTES.saturating_sub(taken));
                }
                if room == 0 {
                    continue;
                }
                let cost = (way.cost - trip_cost).max(0.0);
                today.push(Node { day, technician: index, cost, room, skills: technician.skills });
            }
            // Of those who are there, whoever is as cheap, has as much time and as many skills makes others needless.
            let needless = |place: usize| {
                let one = &today[place];
                today.iter().enumerate().any(|(other, node)| {
                    let as_good = node.cost <= one.cost && node.room >= one.room && one.skills & !node.skills == 0;
                    let same = node.cost == one.cost && node.room == one.room && node.skills == one.skills;
                    other != place && as_good && (!same || other < place)
                })
            };
            nodes.extend((0..today.len()).filter(|place| !needless(*place)).map(|place| today[place]));
        }
    }

    /// Writes a visit in.
    pub fn book(&mut self, technician: usize, day: usize, visit: Booked) {
        self.booked[technician][day].push(visit);
    }

    /// Strikes a site's visit on a day; gives back what its way cost beside the others'.
    pub fn strike(&mut self, technician: usize, day: usize, site: usize) -> f64 {
        let booked = &mut self.booked[technician][day];
        let Some(place) = booked.iter().position(|b| b.site == site) else { return 0.0 };
        let gone = booked.remove(place);
        let (_, left) = self.trip(technician, day, gone.way.area);
        (gone.way.cost - left).max(0.0)
    }

    /// What all ways cost.
    pub fn ways_cost(&self) -> f64 {
        let mut sum = 0.0;
        for (technician, days) in self.booked.iter().enumerate() {
            for (day, booked) in days.iter().enumerate() {
                for (place, one) in booked.iter().enumerate() {
                    if booked[..place].iter().all(|b| b.way.area != one.way.area) {
                        sum += self.trip(technician, day, one.way.area).1;
                    }
                }
            }
        }
        sum
    }
}
