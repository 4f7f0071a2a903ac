//! Health, measures, starting and stopping.

use crate::harness::TestApp;
use serde_json::json;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

#[tokio::test]
async fn health_tells_the_process_and_the_database_apart() {
    let app = TestApp::spawn().await;
    let nobody = app.as_nobody();
    assert_eq!(nobody.get("/health/live").await.json, json!({"status": "live"}));
    assert_eq!(nobody.get("/health/ready").await.json, json!({"status": "ready"}));
    app.registry.database.close().await;
    assert_eq!(nobody.get("/health/live").await.status, 200);
    let ready = nobody.get("/health/ready").await;
    assert_eq!((ready.status, ready.kind()), (503, "busy"));
    assert!(!ready.header("retry-after").is_empty());
}

#[tokio::test]
async fn requests_are_counted_by_template_and_status_without_identifiers() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    app.as_role("hygienist").get(&format!("/sites/{site}")).await;
    app.as_role("hygienist").get(&format!("/sites/{site}")).await;
    app.as_nobody().get("/sites").await;
    let measures = app.as_nobody().get("/metrics").await;
    assert!(measures.header("content-type").starts_with("text/plain"));
    let line = r#"doseward_requests_total{method="GET",route="/api/v1/sites/{id}",status="200"} 2"#;
    assert!(measures.text.contains(line), "{}", measures.text);
    assert!(measures.text.contains(r#"route="/api/v1/sites",status="401"} 1"#), "{}", measures.text);
    assert!(measures.text.contains("doseward_request_duration_seconds_bucket"));
    assert!(!measures.text.contains(&site));
    let other = TestApp::spawn().await.as_nobody().get("/metrics").await;
    assert!(!other.text.contains("/api/v1/sites"), "two services of one process count apart");
}

#[tokio::test]
async fn a_request_in_flight_is_finished_before_the_service_stops() {
    let mut app = TestApp::spawn().await;
    let body =
        json!({"code": "LYN", "name": "Lyn", "time_zone": "America/Denver", "rule_set": "us_construction"});
    let body = body.to_string();
    let address = app.address.strip_prefix("http://").unwrap().to_owned();
    let mut line = TcpStream::connect(&address).await.unwrap();
    let head = format!(
        "POST /api/v1/sites HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\nExpect: 100-continue\r\nConnection: close\r\n\r\n",
        app.token("hygienist"),
        body.len()
    );
    line.write_all(head.as_bytes()).await.unwrap();
    // The service asks for the body: the request is in its hands.
    let mut go_on = [0; 25];
    line.read_exact(&mut go_on).await.unwrap();
    assert!(go_on.starts_with(b"HTTP/1.1 100 Continue"));
    app.tell_to_stop();
    line.write_all(body.as_bytes()).await.unwrap();
    let mut answer = String::new();
    line.read_to_string(&mut answer).await.unwrap();
    assert!(answer.starts_with("HTTP/1.1 201 Created"), "{answer}");
    app.stopped().await.unwrap();
    assert!(TcpStream::connect(&address).await.is_err(), "nobody listens any more");
}
