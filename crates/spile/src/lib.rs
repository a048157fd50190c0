//! The spile command's parts that other programs of this workspace use too.

pub mod demo;
