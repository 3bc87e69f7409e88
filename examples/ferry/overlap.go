package main

type overlap struct{}

func (m *maker) compareOverlaps() error { return nil }
