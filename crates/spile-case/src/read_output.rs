//! `[output]` from TOML.

use crate::names::FILE_KINDS;
use crate::output::{FileKind, Flow, Output};
use crate::reader::{Keys, Reader, Table};

const OUTPUT: Keys =
    Keys { table: "`[output]`", known: &["density", "build_direction", "flow", "files"] };

const FLOW: Keys = Keys {
    table: "`flow` in `[output]`",
    known: &["rate_l_min", "density_kg_m3", "viscosity_pa_s"],
};

/// How a flow is written; its units are in its keys.
const FLOW_ADVICE: &str = "write `flow = { rate_l_min = 15.0, density_kg_m3 = 1.204, viscosity_pa_s = 1.825e-5 }` (air at 20 \
     degrees C)";

/// What is wanted beside the part; nothing where the case does not say.
pub(crate) fn read_output(reader: &mut Reader<'_>, root: &Table<'_, '_>) -> Output {
    let Some(table) = root.get("output").and_then(|value| reader.table(value, &OUTPUT)) else {
        return Output::default();
    };
    Output {
        density_g_cm3: reader.maybe_positive(&table, "density"),
        build_direction: table.get("build_direction").and_then(|value| reader.direction(value)),
        flow: read_flow(reader, &table),
        files: read_files(reader, &table),
    }
}

fn read_flow(reader: &mut Reader<'_>, output: &Table<'_, '_>) -> Option<Flow> {
    let table = reader.table(output.get("flow")?, &FLOW)?;
    let mut need = |key: &str| match table.get(key) {
        Some(value) => reader.positive(value),
        None => {
            reader.missing(&table, key, FLOW_ADVICE);
            None
        }
    };
    let (rate, density) = (need("rate_l_min"), need("density_kg_m3"));
    let viscosity = need("viscosity_pa_s");
    Some(Flow { rate_l_min: rate?, density_kg_m3: density?, viscosity_pa_s: viscosity? })
}

fn read_files(reader: &mut Reader<'_>, output: &Table<'_, '_>) -> Vec<FileKind> {
    let Some(value) = output.get("files") else { return Vec::new() };
    let Some(array) = value.get_ref().as_array() else {
        let known: Vec<&str> = FILE_KINDS.iter().map(|&(name, _)| name).collect();
        let error = reader
            .error(value.span(), "expected a list of kinds of files")
            .label("a list")
            .advice(format!("write `files = [\"obj\"]`; known are {}", known.join(", ")));
        reader.note(error);
        return Vec::new();
    };
    let mut files: Vec<_> =
        array.iter().filter_map(|value| reader.word(value, FILE_KINDS)).collect();
    files.sort_unstable();
    files.dedup();
    files
}
