//! The styles and scripts of the pages. They are part of the program, and their addresses change with their contents, so that
//! a browser keeps them for good.

use std::sync::LazyLock;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use actix_web::{HttpRequest, HttpResponse, get, web};
use sha2::{Digest, Sha256};
use tubtrail_domain::say;
use tubtrail_operations::{OperationError, problems};

use super::page::{Shown, Unable};
use crate::hex::hex;

struct Asset {
    name: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

const ASSETS: [Asset; 13] = [
    Asset { name: "tub.svg", kind: "image/svg+xml", bytes: include_bytes!("../../assets/tub.svg") },
    Asset { name: "pages.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("../../assets/pages.css") },
    Asset { name: "stock.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("../../assets/stock.css") },
    Asset {
        name: "counter.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/counter.js"),
    },
    Asset {
        name: "follow.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/follow.js"),
    },
    Asset { name: "live.js", kind: "text/javascript; charset=utf-8", bytes: include_bytes!("../../assets/live.js") },
    Asset { name: "kitchen.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("../../assets/kitchen.css") },
    Asset {
        name: "delivery.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/delivery.js"),
    },
    Asset {
        name: "labels.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/labels.js"),
    },
    Asset {
        name: "making.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/making.js"),
    },
    Asset { name: "paper.js", kind: "text/javascript; charset=utf-8", bytes: include_bytes!("../../assets/paper.js") },
    Asset { name: "tracing.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("../../assets/tracing.css") },
    Asset {
        name: "tracing.js",
        kind: "text/javascript; charset=utf-8",
        bytes: include_bytes!("../../assets/tracing.js"),
    },
];

/// The files.
pub fn configure(config: &mut web::ServiceConfig) {
    config.service(show_asset);
}

/// Changes with any of them.
static STAMP: LazyLock<String> = LazyLock::new(|| {
    let mut hash = Sha256::new();
    for asset in ASSETS {
        hash.update(asset.bytes);
    }
    hex(&hash.finalize()[..6])
});

/// The address of a file.
pub fn address(name: &str) -> String {
    format!("/assets/{}/{name}", *STAMP)
}

#[get("/assets/{stamp}/{name}")]
async fn show_asset(request: HttpRequest, path: web::Path<(String, String)>) -> Shown {
    let (stamp, name) = path.into_inner();
    let found = ASSETS.iter().find(|asset| asset.name == name).filter(|_| stamp == *STAMP);
    let missing = || OperationError::new(&problems::NOT_FOUND, say!("there is no such file"));
    let asset = found.ok_or_else(|| Unable::problem(&request, missing().into()))?;
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, asset.kind))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(asset.bytes))
}

#[cfg(test)]
mod tests {
    use super::ASSETS;

    /// A script that takes something from another is a module, and a page that loads it must say so.
    #[test]
    fn scripts_that_import_are_loaded_as_modules() {
        let imports = |asset: &&super::Asset| asset.bytes.windows(8).any(|bytes| bytes == b"\nimport ");
        let modules: Vec<&str> = ASSETS.iter().filter(imports).map(|asset| asset.name).collect();
        assert_eq!(modules, ["counter.js", "follow.js"]);
        let templates = concat!(env!("CARGO_MANIFEST_DIR"), "/templates");
        for file in std::fs::read_dir(templates).expect("the templates are there") {
            let path = file.expect("a file").path();
            let text = std::fs::read_to_string(&path).expect("a text");
            for line in text.lines().filter(|line| modules.iter().any(|name| line.contains(&format!("\"{name}\"")))) {
                assert!(line.contains("<script type=\"module\""), "{}: {line}", path.display());
            }
        }
    }
}
