//! A case with all its places moved.

use spile_case::{
    Ball, Case, Clear, Cut, Keep, Motion, Onward, Place, Rim, Site, StationCut, Tilt, Vec3, Wall,
    WallAt, unit_direction,
};

/// The case with every place and direction of it moved. Boxes stay along the axes: each
/// becomes the one round its moved corners.
pub fn moved(case: &Case, motion: &Motion) -> Case {
    let mut case = case.clone();
    for end in &mut case.ends {
        end.site = site(end.site, motion);
        end.place = end.place.map(|p| place(p, motion));
        end.seam = None;
    }
    for keep in &mut case.keeps {
        match keep {
            Keep::Ball(ball) => *ball = moved_ball(*ball, motion),
            Keep::Box { min, max } => [*min, *max] = moved_box([*min, *max], motion),
            Keep::Triangles { .. } => {}
        }
    }
    for clear in &mut case.clears {
        match clear {
            Clear::Ball(ball) => *ball = moved_ball(*ball, motion),
            Clear::Box { min, max } => [*min, *max] = moved_box([*min, *max], motion),
        }
    }
    if let Some(Wall::Graded(places)) = &mut case.scan.wall {
        *places = places.map(|p| WallAt { at: motion.moved(p.at), ..p });
    }
    case
}

fn direction(v: Vec3, motion: &Motion) -> Vec3 {
    let turned = motion.turned(v);
    unit_direction(turned).unwrap_or(turned)
}

fn moved_ball(ball: Ball, motion: &Motion) -> Ball {
    Ball { at: motion.moved(ball.at), ..ball }
}

fn moved_box(bounds: [Vec3; 2], motion: &Motion) -> [Vec3; 2] {
    let corners =
        (0..8_usize).map(|k| motion.moved([0, 1, 2].map(|axis| bounds[k >> axis & 1][axis])));
    corners.fold([[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]], |[min, max], p| {
        [[0, 1, 2].map(|k| min[k].min(p[k])), [0, 1, 2].map(|k| max[k].max(p[k]))]
    })
}

fn site(site: Site, motion: &Motion) -> Site {
    match site {
        Site::Cut(cut) => Site::Cut(Cut {
            through: motion.moved(cut.through),
            facing: direction(cut.facing, motion),
        }),
        Site::Station(cut) => Site::Station(StationCut {
            from: motion.moved(cut.from),
            facing: cut.facing.map(|v| direction(v, motion)),
            ..cut
        }),
        Site::Rim(rim) => Site::Rim(Rim {
            near: motion.moved(rim.near),
            facing: rim.facing.map(|v| direction(v, motion)),
            ..rim
        }),
    }
}

fn place(place: Place, motion: &Motion) -> Place {
    match place {
        Place::At { at, along } => {
            Place::At { at: motion.moved(at), along: direction(along, motion) }
        }
        Place::Onward(onward) => Place::Onward(Onward {
            off: motion.turned(onward.off),
            tilt: onward.tilt.map(|tilt| Tilt { toward: direction(tilt.toward, motion), ..tilt }),
            ..onward
        }),
        Place::AsModelled | Place::Auto => place,
    }
}
