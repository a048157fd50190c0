//! The model part: unit, metadata, resources, build items.

use super::CORE;
use super::resources::{Component, Object, Resources, Shape, Transform};
use super::xml::{Node, Tag, Xml};
use crate::FileUnit;
use crate::error::{Fault, Place};
use crate::numbers::{number, sound_point};
use spile_mesh::DVec3;

/// Extensions that change looks, names or storage, never the surface; a
/// production path and a property of another extension are still refused.
const HARMLESS: [&str; 3] = [
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
    "http://schemas.microsoft.com/3dmanufacturing/production/2015/06",
];

pub(super) struct Model {
    pub(super) unit: FileUnit,
    pub(super) metadata: Vec<(String, String)>,
    pub(super) resources: Resources,
    /// What is built.
    pub(super) items: Vec<Component>,
}

pub(super) fn read(text: &str, part: &str) -> Result<Model, Fault> {
    let mut xml = Xml::new(text, part);
    let root = loop {
        match xml.next()? {
            Some(Node::Open(tag)) => break tag,
            Some(_) => {}
            None => {
                let place = Place::Part { part: part.to_owned(), byte: text.len() as u64 };
                return Err(Fault::at(place, "the model is empty"));
            }
        }
    };
    if !root.is(CORE, "model") {
        return Err(root.fault("the outermost element is no 3MF model"));
    }
    refuse_required(&root)?;
    let unit = match root.get("unit")? {
        None => FileUnit::Millimetre,
        Some(name) => FileUnit::from_name(&name)
            .ok_or_else(|| root.fault(format!("unit \"{name}\" is none of 3MF")))?,
    };
    let mut model =
        Model { unit, metadata: Vec::new(), resources: Resources::default(), items: Vec::new() };
    let mut built = false;
    while let Some(tag) = xml.child()? {
        if tag.is(CORE, "metadata") {
            let name = tag.need("name")?.into_owned();
            model.metadata.push((name, text_of(&mut xml)?));
        } else if tag.is(CORE, "resources") {
            while let Some(tag) = xml.child()? {
                resource(&mut xml, &tag, &mut model.resources)?;
            }
        } else if tag.is(CORE, "build") {
            built = true;
            while let Some(tag) = xml.child()? {
                if !tag.is(CORE, "item") {
                    return Err(unsupported(&tag));
                }
                model.items.push(component(&tag, &model.resources)?);
                xml.pass_over()?;
            }
        } else {
            xml.pass_over()?;
        }
    }
    if !built {
        return Err(root.fault("the model has no 'build'"));
    }
    // What follows the model may only be blank.
    while let Some(node) = xml.next()? {
        if let Node::Open(tag) = node {
            return Err(tag.fault("a second outermost element"));
        }
    }
    Ok(model)
}

fn unsupported(tag: &Tag<'_>) -> Fault {
    Fault::unsupported(format!("the 3MF element '{}' ({})", tag.name(), tag.namespace()))
}

fn refuse_required(root: &Tag<'_>) -> Result<(), Fault> {
    let required = root.get("requiredextensions")?.unwrap_or_default();
    for prefix in required.split_whitespace() {
        let Some(namespace) = root.namespace_of_prefix(prefix)? else {
            return Err(root.fault(format!("the required extension '{prefix}' is not declared")));
        };
        if !HARMLESS.contains(&namespace.as_ref()) {
            let what = format!("the file requires the 3MF extension {namespace}");
            return Err(Fault::unsupported(what));
        }
    }
    Ok(())
}

/// The text of the element that was just opened, up to its end.
fn text_of(xml: &mut Xml<'_>) -> Result<String, Fault> {
    let mut all = String::new();
    loop {
        match xml.need_node()? {
            Node::Text(text) => all.push_str(&text),
            Node::Open(_) => xml.pass_over()?,
            Node::Close => return Ok(all),
        }
    }
}

fn resource(xml: &mut Xml<'_>, tag: &Tag<'_>, resources: &mut Resources) -> Result<(), Fault> {
    if !tag.is(CORE, "object") {
        // A group of properties: how many there are is all that matters here.
        let id = tag.whole("id")?;
        let mut count = 0;
        while xml.child()?.is_some() {
            count += 1;
            xml.pass_over()?;
        }
        if let Some(id) = id {
            resources.add_group(id, count).map_err(|what| tag.fault(what))?;
        }
        return Ok(());
    }
    let id = tag.need_whole("id")?;
    let kind = tag.get("type")?.unwrap_or("model".into()).into_owned();
    if !["model", "solidsupport", "support", "surface", "other"].contains(&kind.as_str()) {
        return Err(tag.fault(format!("type \"{kind}\" is none of 3MF")));
    }
    check_property(tag, "pid", None, &["pindex"], resources)?;
    let own = (tag.whole("pid")?, tag.whole("pindex")?);
    if own.1.is_some() && own.0.is_none() {
        return Err(tag.fault("'pindex' without 'pid'"));
    }
    let mut shape = None;
    while let Some(child) = xml.child()? {
        if child.is(CORE, "mesh") {
            shape = Some(mesh(xml, own.0, resources)?);
        } else if child.is(CORE, "components") {
            let mut parts = Vec::new();
            while let Some(tag) = xml.child()? {
                if !tag.is(CORE, "component") {
                    return Err(unsupported(&tag));
                }
                parts.push(component(&tag, resources)?);
                xml.pass_over()?;
            }
            shape = Some(Shape::Components(parts));
        } else if child.is(CORE, "metadatagroup") {
            xml.pass_over()?;
        } else {
            return Err(unsupported(&child));
        }
    }
    let Some(shape) = shape else {
        return Err(tag.fault(format!("object {id} has neither mesh nor components")));
    };
    resources.add_object(id, Object { kind, shape }).map_err(|what| tag.fault(what))
}

/// Checks that a property group exists and holds the properties that are named.
fn check_property(
    tag: &Tag<'_>,
    group: &str,
    default: Option<u32>,
    members: &[&str],
    resources: &Resources,
) -> Result<(), Fault> {
    let Some(id) = tag.whole(group)?.or(default) else { return Ok(()) };
    let Some(count) = resources.group(id) else {
        return Err(tag.fault(format!("there is no property group {id}")));
    };
    for member in members {
        if let Some(index) = tag.whole(member)?.filter(|&index| index >= count) {
            let what = format!("{member}=\"{index}\", but property group {id} holds {count}");
            return Err(tag.fault(what));
        }
    }
    Ok(())
}

fn component(tag: &Tag<'_>, resources: &Resources) -> Result<Component, Fault> {
    if tag.get_prefixed("path")?.is_some() {
        return Err(Fault::unsupported(
            "objects in other parts of the 3MF package (production paths)",
        ));
    }
    let id = tag.need_whole("objectid")?;
    let Some(object) = resources.object(id) else {
        return Err(tag.fault(format!("there is no object {id} before this place")));
    };
    let transform = match tag.get("transform")? {
        None => Transform::IDENTITY,
        Some(text) => transform(&text).map_err(|what| tag.fault(what))?,
    };
    Ok(Component { object, transform })
}

fn transform(text: &str) -> Result<Transform, String> {
    let mut values = [0.0; 12];
    let mut words = text.split_ascii_whitespace();
    for value in &mut values {
        let word = words.next().ok_or("a transform needs 12 numbers")?;
        *value = number(word.as_bytes())?;
    }
    if words.next().is_some() {
        return Err("a transform of more than 12 numbers".to_owned());
    }
    Transform::from_rows(values).ok_or_else(|| "a transform that flattens the object".to_owned())
}

fn mesh(xml: &mut Xml<'_>, own: Option<u32>, resources: &Resources) -> Result<Shape, Fault> {
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    while let Some(tag) = xml.child()? {
        if tag.is(CORE, "vertices") {
            while let Some(tag) = xml.child()? {
                if !tag.is(CORE, "vertex") {
                    return Err(unsupported(&tag));
                }
                points.push(vertex(&tag)?);
                xml.pass_over()?;
            }
        } else if tag.is(CORE, "triangles") {
            while let Some(tag) = xml.child()? {
                if !tag.is(CORE, "triangle") {
                    return Err(unsupported(&tag));
                }
                triangles.push(triangle(&tag, points.len())?);
                check_property(&tag, "pid", own, &["p1", "p2", "p3"], resources)?;
                xml.pass_over()?;
            }
        } else if HARMLESS.contains(&tag.namespace()) {
            xml.pass_over()?;
        } else {
            return Err(unsupported(&tag));
        }
    }
    Ok(Shape::Mesh { points, triangles })
}

fn vertex(tag: &Tag<'_>) -> Result<DVec3, Fault> {
    let coordinate = |name| -> Result<f64, Fault> {
        number(tag.need(name)?.trim().as_bytes())
            .map_err(|what| tag.fault(format!("{name}: {what}")))
    };
    let point = DVec3::new(coordinate("x")?, coordinate("y")?, coordinate("z")?);
    sound_point(point).map_err(|what| tag.fault(what))
}

fn triangle(tag: &Tag<'_>, points: usize) -> Result<[u32; 3], Fault> {
    let corner = |name| -> Result<u32, Fault> {
        let index = tag.need_whole(name)?;
        if (index as usize) < points {
            return Ok(index);
        }
        let what = format!("{name}=\"{index}\", but there are {points} vertices, counted from 0");
        Err(tag.fault(what))
    };
    Ok([corner("v1")?, corner("v2")?, corner("v3")?])
}
