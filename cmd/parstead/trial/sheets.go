package trial

// readSheets reads the sheets in the order in which they need one another.
func (l *loader) readSheets() {
	l.readSurvey()
	l.readPlants()
	l.checkTreatments()
	l.checkSplit()
	l.readHarvest()
	l.readCounts()
	l.readMoves()
	l.placeStays()
	for _, code := range l.order {
		l.Plants = append(l.Plants, l.plants[code].Plant)
	}
	l.Columns = l.columns
}
