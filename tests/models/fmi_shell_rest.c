/* The functions of the standards for what the units of the tests do not offer: there to be found, never called. Kept
 * from the headers, whose argument lists do not matter to a function that only refuses. */
#define REFUSE(name)                                                                                                  \
    __attribute__((visibility("default"))) int name(void) { return 3; }

#if FMI == 2
#define ALL(X) X(SetDebugLogging) X(GetString) X(GetFMUstate) X(SetFMUstate) X(FreeFMUstate)                          \
    X(SerializedFMUstateSize) X(SerializeFMUstate) X(DeSerializeFMUstate) X(GetDirectionalDerivative)                 \
    X(SetRealInputDerivatives) X(GetRealOutputDerivatives) X(CancelStep) X(GetStatus) X(GetIntegerStatus)             \
    X(GetStringStatus)
#define ONE(name) REFUSE(fmi2##name)
#else
#define ALL(X) X(SetDebugLogging) X(InstantiateModelExchange) X(InstantiateScheduledExecution) X(EnterEventMode)      \
    X(GetString) X(GetBinary) X(GetClock) X(SetBinary) X(SetClock) X(GetNumberOfVariableDependencies)                 \
    X(GetVariableDependencies) X(GetFMUState) X(SetFMUState) X(FreeFMUState) X(SerializedFMUStateSize)                \
    X(SerializeFMUState) X(DeserializeFMUState) X(GetDirectionalDerivative) X(GetAdjointDerivative)                   \
    X(EnterConfigurationMode) X(ExitConfigurationMode) X(GetIntervalDecimal) X(GetIntervalFraction)                   \
    X(GetShiftDecimal) X(GetShiftFraction) X(SetIntervalDecimal) X(SetIntervalFraction) X(SetShiftDecimal)            \
    X(SetShiftFraction) X(EvaluateDiscreteStates) X(UpdateDiscreteStates) X(EnterContinuousTimeMode)                  \
    X(CompletedIntegratorStep) X(SetTime) X(SetContinuousStates) X(GetContinuousStateDerivatives)                     \
    X(GetEventIndicators) X(GetContinuousStates) X(GetNominalsOfContinuousStates) X(GetNumberOfEventIndicators)       \
    X(GetNumberOfContinuousStates) X(EnterStepMode) X(GetOutputDerivatives) X(ActivateModelPartition)
#define ONE(name) REFUSE(fmi3##name)
#endif
ALL(ONE)
