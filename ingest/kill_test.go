package ingest_test

const childRole = "PARSTEAD_INGEST_CHILD"

func child() int { return 0 }
