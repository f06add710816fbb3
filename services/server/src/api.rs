//! The API's description: collected from the handlers, then given what every operation shares.

use tubtrail_operations::reach::{ONLY_READ, OPERATIONS, READ_MAY_BE_REFUSED};
use tubtrail_operations::webhooks::WebhookMessage;
use tubtrail_operations::{Fault, problems};
use utoipa::openapi::extensions::Extensions;
use utoipa::openapi::header::HeaderBuilder;
use utoipa::openapi::path::{Operation, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::{ObjectBuilder, SchemaType, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{ContentBuilder, InfoBuilder, OpenApi, Ref, Response, ResponseBuilder};
use utoipa::{PartialSchema, ToSchema};

use crate::problem::{Problem, ProblemDetails};

/// The description, complete.
pub fn describe() -> OpenApi {
    let (_, api) = utoipa_actix_web::AppExt::into_utoipa_app(actix_web::App::new())
        .configure(crate::routes::configure)
        .split_for_parts();
    complete(api)
}

/// The description as it is committed and served: pretty, with a line end.
pub fn text() -> Result<String, serde_json::Error> {
    let mut text = describe().to_pretty_json()?;
    text.push('\n');
    Ok(text)
}

fn complete(mut api: OpenApi) -> OpenApi {
    api.info = InfoBuilder::new()
        .title("Tubtrail")
        .version(env!("CARGO_PKG_VERSION"))
        .description(Some(include_str!("api.md")))
        .build();
    let components = api.components.get_or_insert_default();
    components.schemas.insert(ProblemDetails::name().into_owned(), ProblemDetails::schema());
    components.schemas.insert(Fault::name().into_owned(), Fault::schema());
    add_what_is_sent(&mut components.schemas);
    let bearer = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .description(Some("A session's token (a JWT), or a device's token."))
        .build();
    components.add_security_scheme("bearer", SecurityScheme::Http(bearer));
    for status in PROBLEM_STATUSES {
        components.responses.insert(problem_name(status), problem_response(status).into());
    }
    for path in api.paths.paths.values_mut() {
        let reads = [path.get.as_mut(), path.head.as_mut()];
        let commands = [path.post.as_mut(), path.put.as_mut(), path.patch.as_mut(), path.delete.as_mut()];
        reads.into_iter().flatten().for_each(|operation| complete_operation(operation, false));
        commands.into_iter().flatten().for_each(|operation| complete_operation(operation, true));
    }
    api
}

/// What webhooks are sent; no operation answers with it.
fn add_what_is_sent(schemas: &mut std::collections::BTreeMap<String, utoipa::openapi::RefOr<utoipa::openapi::Schema>>) {
    let mut named = vec![(WebhookMessage::name().into_owned(), WebhookMessage::schema())];
    WebhookMessage::schemas(&mut named);
    for (name, schema) in named {
        schemas.entry(name).or_insert(schema);
    }
}

fn complete_operation(operation: &mut Operation, is_command: bool) {
    for (status, response) in &mut operation.responses.responses {
        if let utoipa::openapi::RefOr::T(response) = response
            && response.description.is_empty()
        {
            response.description =
                if status == "201" { "Written down; this is how it stands." } else { "As it stands." }.into();
        }
    }
    if operation.request_body.is_some() {
        add_problems(operation, &[415]);
    }
    let id = operation.operation_id.clone().unwrap_or_default();
    if operation.description.is_none() {
        operation.description.clone_from(&operation.summary);
    }
    let Some(known) = OPERATIONS.iter().find(|known| known.id == id) else {
        let statuses: &[u16] = if is_command { &[400, 401, 413, 422, 429, 500, 503] } else { &[404, 500, 503] };
        add_problems(operation, statuses);
        return;
    };
    operation.security = Some(vec![SecurityRequirement::new("bearer", Vec::<String>::new())]);
    let roles: Vec<_> = known.roles.iter().map(|role| role.word()).collect();
    operation.extensions.get_or_insert_default().merge(Extensions::builder().add("x-roles", roles.clone()).build());
    let description = operation.description.get_or_insert_default();
    if !description.is_empty() {
        description.push_str("\n\n");
    }
    description.push_str("Roles: ");
    description.push_str(&roles.join(", "));
    description.push('.');
    let only_reads = ONLY_READ.iter().any(|known| known.id == id);
    if is_command && only_reads {
        add_problems(operation, &[400, 401, 403, 404, 409, 413, 422, 429, 500, 503]);
    } else if is_command {
        add_key(operation);
        add_problems(operation, &[400, 401, 403, 404, 409, 413, 422, 429, 500, 503]);
    } else {
        add_problems(operation, &[400, 401, 403, 404, 422, 429, 500, 503]);
        if READ_MAY_BE_REFUSED.iter().any(|known| known.id == id) {
            add_problems(operation, &[409]);
        }
    }
}

fn add_key(operation: &mut Operation) {
    let key = ParameterBuilder::new()
        .name("Idempotency-Key")
        .parameter_in(ParameterIn::Header)
        .required(utoipa::openapi::Required::False)
        .description(Some("The same key with the same request does nothing again and gives the first answer."))
        .schema(Some(
            ObjectBuilder::new()
                .schema_type(SchemaType::new(Type::String))
                .min_length(Some(1))
                .max_length(Some(100))
                .pattern(Some("^[!#-~]+$")),
        ))
        .build();
    operation.parameters.get_or_insert_default().push(key.into());
    for (status, response) in &mut operation.responses.responses {
        if let (true, utoipa::openapi::RefOr::T(response)) = (status.starts_with('2'), response) {
            let entry = HeaderBuilder::new()
                .schema(Some(ObjectBuilder::new().schema_type(SchemaType::new(Type::Integer))))
                .description(Some("The journal entry that holds it."))
                .build();
            response.headers.insert("Tubtrail-Entry".into(), entry.into());
        }
    }
}

fn add_problems(operation: &mut Operation, statuses: &[u16]) {
    for status in statuses {
        let response = || Ref::from_response_name(problem_name(*status)).into();
        operation.responses.responses.entry(status.to_string()).or_insert_with(response);
    }
}

/// Every status a problem can have.
const PROBLEM_STATUSES: [u16; 11] = [400, 401, 403, 404, 409, 413, 415, 422, 429, 500, 503];

fn problem_name(status: u16) -> String {
    format!("Problem{status}")
}

/// What a problem with a status looks like, and which there are.
fn problem_response(status: u16) -> Response {
    let of_status = |problem: &&&problems::Problem| Problem::status_of(problem.sort).as_u16() == status;
    let words: Vec<_> = problems::ALL.iter().filter(of_status).map(|problem| problem.word).collect();
    let details = Ref::from_schema_name(ProblemDetails::name());
    ResponseBuilder::new()
        .description(words.join(", "))
        .content("application/problem+json", ContentBuilder::new().schema(Some(details)).build())
        .build()
}
