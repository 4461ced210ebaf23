# Thin names over ./run, for those whose fingers type make.
.PHONY: run test check bench soak docs
run:
	./run
test check bench soak docs:
	./run $@
