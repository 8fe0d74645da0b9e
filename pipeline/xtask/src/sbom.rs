//! What the shipped program is made of, as CycloneDX 1.6 JSON (ECMA-424): each crate with version, licence and hash.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::{Value, json};

/// Prints the bill of materials of the program; what tests and tools alone need is left out.
pub fn run() -> Result<(), String> {
    let metadata = metadata()?;
    let lock =
        std::fs::read_to_string("Cargo.lock").map_err(|error| format!("Cargo.lock: {error}"))?;
    let bill = bill(&metadata, &checksums(&lock))?;
    println!(
        "{}",
        serde_json::to_string_pretty(&bill).map_err(|error| error.to_string())?
    );
    Ok(())
}

fn metadata() -> Result<Value, String> {
    let output = Command::new("cargo")
        .args(["metadata", "--locked", "--offline", "--format-version", "1"])
        .output()
        .map_err(|error| error.to_string())?;
    serde_json::from_slice(&output.stdout).map_err(|error| format!("cargo metadata: {error}"))
}

/// SHA-256 of each package by name and version, as the lock file has them.
fn checksums(lock: &str) -> BTreeMap<(String, String), String> {
    let mut sums = BTreeMap::new();
    for package in lock.split("[[package]]").skip(1) {
        let value = |key: &str| {
            let line = package.lines().find_map(|line| line.strip_prefix(key))?;
            Some(
                line.trim_start_matches([' ', '='])
                    .trim_matches('"')
                    .to_owned(),
            )
        };
        if let (Some(name), Some(version), Some(sum)) =
            (value("name"), value("version"), value("checksum"))
        {
            sums.insert((name, version), sum);
        }
    }
    sums
}

fn bill(metadata: &Value, sums: &BTreeMap<(String, String), String>) -> Result<Value, String> {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let packages: BTreeMap<String, Value> = list(&metadata["packages"])
        .into_iter()
        .map(|package| (text(&package["id"]), package))
        .collect();
    let mut needs: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for node in list(&metadata["resolve"]["nodes"]) {
        let shipped = |dep: &Value| {
            list(&dep["dep_kinds"])
                .iter()
                .any(|kind| text(&kind["kind"]) != "dev")
        };
        let deps = list(&node["deps"]).into_iter().filter(shipped);
        needs.insert(
            text(&node["id"]),
            deps.map(|dep| text(&dep["pkg"])).collect(),
        );
    }
    let root = packages
        .iter()
        .find(|(_, package)| text(&package["name"]) == "whereworn")
        .map(|(id, _)| id.clone())
        .ok_or("cargo metadata does not name the package whereworn")?;
    let mut reached = BTreeSet::from([root.clone()]);
    let mut waiting = vec![root.clone()];
    while let Some(next) = waiting.pop() {
        for id in needs.get(&next).into_iter().flatten() {
            if reached.insert(id.clone()) {
                waiting.push(id.clone());
            }
        }
    }
    let reference = |id: &String| {
        let package = packages.get(id).unwrap_or(&Value::Null);
        format!(
            "pkg:cargo/{}@{}",
            text(&package["name"]),
            text(&package["version"])
        )
    };
    let component = |id: &String| {
        let package = packages.get(id).unwrap_or(&Value::Null);
        let (name, version) = (text(&package["name"]), text(&package["version"]));
        // Older packages write a stroke where SPDX has OR.
        let licence = text(&package["license"]).replace('/', " OR ");
        let mut component = json!({
            "type": if *id == root { "application" } else { "library" },
            "bom-ref": reference(id),
            "name": name,
            "version": version,
            "purl": reference(id),
            "licenses": [{ "expression": licence }],
        });
        if let (Some(sum), Some(object)) = (sums.get(&(name, version)), component.as_object_mut()) {
            object.insert(
                "hashes".to_owned(),
                json!([{ "alg": "SHA-256", "content": sum }]),
            );
        }
        component
    };
    let components: Vec<Value> = reached
        .iter()
        .filter(|id| **id != root)
        .map(component)
        .collect();
    let dependencies: Vec<Value> = reached
        .iter()
        .map(|id| {
            let on: Vec<String> = needs.get(id).into_iter().flatten().map(reference).collect();
            json!({ "ref": reference(id), "dependsOn": on })
        })
        .collect();
    Ok(json!({
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": { "component": component(&root) },
        "components": components,
        "dependencies": dependencies,
    }))
}
