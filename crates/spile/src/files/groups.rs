//! Named groups of a part's triangles, from the proof's labels.

use std::collections::BTreeMap;

use spile_case::End;
use spile_formats::{Group, Groups};
use spile_proof::{PartLabel, Region, Side};

/// What a group is; groups stand in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    /// The scan's and the made wall's flow side, replaced scan with it.
    Bore,
    /// The other side.
    Outside,
    /// The new wall of one end.
    Joint(Side),
    /// A fitting.
    Fitting(Side),
    /// A fitting's far face, a plain end's ring or a ring at another rim.
    EndFace,
    /// A void, or not to be told.
    Other,
}

impl Kind {
    fn of(label: &PartLabel) -> Self {
        match (label.region, label.side) {
            (Region::Joint, side) => Self::Joint(side),
            (Region::Fitting, side) => Self::Fitting(side),
            (Region::EndFace, _) => Self::EndFace,
            (_, Side::Bore) => Self::Bore,
            (_, Side::Outside) => Self::Outside,
            (_, Side::Neither) => Self::Other,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Bore => "bore",
            Self::Outside => "outside",
            Self::Joint(Side::Bore) => "joint_bore",
            Self::Joint(Side::Outside) => "joint_outside",
            Self::Joint(Side::Neither) => "joint_other",
            Self::Fitting(Side::Bore) => "fitting_bore",
            Self::Fitting(Side::Outside) => "fitting_outside",
            Self::Fitting(Side::Neither) => "fitting_other",
            Self::EndFace => "end_face",
            Self::Other => "other",
        }
    }

    /// Its colour. Those of Okabe and Ito (2008, "Color Universal Design"), which also the
    /// colour-blind tell apart; the outside grey.
    fn colour(self) -> [u8; 3] {
        match self {
            Self::Bore => [86, 180, 233],
            Self::Outside => [190, 190, 190],
            Self::Joint(_) => [230, 159, 0],
            Self::Fitting(_) => [0, 158, 115],
            Self::EndFace => [213, 94, 0],
            Self::Other => [204, 121, 167],
        }
    }
}

/// The groups of a part: `bore` and `outside` of the scan, and for each end its joint and
/// fitting, side by side, and its end face, named `joint_bore_` and so on with the end's name.
pub(crate) fn groups_of(labels: &[PartLabel], ends: &[End]) -> Groups {
    let of_end = |label: &PartLabel| match Kind::of(label) {
        Kind::Bore | Kind::Outside | Kind::Other => None,
        _ => label.end,
    };
    let key = |label: &PartLabel| (Kind::of(label), of_end(label));
    let mut numbers: BTreeMap<(Kind, Option<usize>), u32> = BTreeMap::new();
    for label in labels {
        numbers.insert(key(label), 0);
    }
    let words = plain_names(ends);
    let mut groups = Vec::new();
    for (number, (&(kind, end), at)) in (0..).zip(&mut numbers) {
        *at = number;
        let name = match end {
            Some(end) => format!("{}_{}", kind.name(), words[end]),
            None => kind.name().to_owned(),
        };
        groups.push(Group { name, colour: kind.colour() });
    }
    Groups { groups, of: labels.iter().map(|label| numbers[&key(label)]).collect() }
}

/// The ends' names as letters, digits, `-` and `_`, told apart by their number where that
/// makes two the same.
pub(crate) fn plain_names(ends: &[End]) -> Vec<String> {
    let plain = |name: &str| -> String {
        name.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' }).collect()
    };
    let names: Vec<String> = ends.iter().map(|end| plain(&end.name)).collect();
    let same = |name: &String| names.iter().filter(|n| n.eq_ignore_ascii_case(name)).count() > 1;
    let number = |k: usize, name: &String| format!("{name}_{}", k + 1);
    // Once numbered, all are: `a_1` may be an end's own name.
    match names.iter().any(same) {
        true => names.iter().enumerate().map(|(k, name)| number(k, name)).collect(),
        false => names,
    }
}

#[cfg(test)]
mod tests {
    use spile_case::{Cut, End, Site};
    use spile_proof::{PartLabel, Region, Side};

    use super::{groups_of, plain_names};

    fn ends(names: &[&str]) -> Vec<End> {
        let cut = Cut { through: [0.0; 3], facing: [0.0, 0.0, 1.0] };
        names.iter().map(|name| End::plain(name, Site::Cut(cut))).collect()
    }

    #[test]
    fn names_hold_nothing_that_ends_a_name_and_differ() {
        assert_eq!(plain_names(&ends(&["upper", "left-2"])), ["upper", "left-2"]);
        let alike = plain_names(&ends(&["a b", "a\u{e9}b", "A_B", "a_b_1"]));
        assert_eq!(alike, ["a_b_1", "a_b_2", "A_B_3", "a_b_1_4"]);
    }

    #[test]
    fn scan_and_replaced_scan_are_one_and_each_end_has_its_own() {
        let label = |region, side, end| PartLabel { region, side, end };
        let labels = [
            label(Region::EndFace, Side::Neither, None),
            label(Region::Replaced, Side::Bore, Some(1)),
            label(Region::Kept, Side::Bore, None),
            label(Region::Joint, Side::Outside, Some(1)),
            label(Region::Fitting, Side::Bore, Some(0)),
            label(Region::EndFace, Side::Neither, Some(0)),
            label(Region::MadeWall, Side::Outside, None),
        ];
        let groups = groups_of(&labels, &ends(&["in", "out"]));
        let names: Vec<&str> = groups.groups.iter().map(|g| g.name.as_str()).collect();
        let wanted =
            ["bore", "outside", "joint_outside_out", "fitting_bore_in", "end_face", "end_face_in"];
        assert_eq!(names, wanted);
        assert_eq!(groups.of, [4, 0, 0, 2, 3, 5, 1]);
    }
}
